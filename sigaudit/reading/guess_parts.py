"""The parts of a log's lines told apart further: signs glued to numbers, words that never change, free text.

What is left are values, each with the fixed text in front of it: its name, where a header line would have one.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence

from sigaudit.reading.codes import code_table, sia_table
from sigaudit.reading.guess_shapes import Part
from sigaudit.reading.guess_tokens import Token

__all__ = ["names", "told_apart"]

_MOST = 0.98  # of the values that must have the same letters around their digits
_RUNS = re.compile(r"[A-Za-z]+|\d+")
_LETTERS = {"r": "receiver", "l": "line", "z": "zone", "g": "group", "c": "card"}


def told_apart(parts: Sequence[Part], lines: Sequence[str], count: int) -> list[Part]:
    """The parts, none of them with a fixed text beside its value. count: lines that have any."""
    found: list[Part] = []
    for part in _tail(parts, lines, count):
        if part.kind == "V":
            found += _letters_off(part)
        elif part.kind == "W":
            found += _words_off(part)
        else:
            found.append(part)
    return [part for part in found if part.cells]


def _tail(parts: Sequence[Part], lines: Sequence[str], count: int) -> list[Part]:
    """Loose parts at the end of the lines as one free text."""
    last = max((n for n, part in enumerate(parts) if len(part.cells) >= 0.95 * count), default=-1)
    loose = parts[last + 1 :]
    if len(loose) < 3 or any(part.kind in "LTDCYFMB" or part.place for part in loose):
        return list(parts)
    begins: dict[int, int] = {}
    for part in loose:
        for at, token in part.cells.items():
            begins[at] = min(begins.get(at, token.start), token.start)
    cells = {at: Token("X", text := lines[at][n:].rstrip(), n, n + len(text)) for at, n in begins.items()}
    return [*parts[: last + 1], Part("X", cells)]


def _letters_off(part: Part) -> list[Part]:
    """Letters that stand the same around the digits of every value as parts of their own."""
    skeletons = Counter(tuple("" if run[0].isdigit() else run for run in _RUNS.findall(v)) for v in part.values())
    skeleton, n = skeletons.most_common(1)[0]
    if n < _MOST * len(part.cells) or not any(skeleton) or _is_event(part.values()):
        return [part]
    found = [Part("P" if run else "V", {}, run, part.place) for run in skeleton]
    for at, token in part.cells.items():
        runs = list(_RUNS.finditer(token.text))
        if len(runs) != len(skeleton) or any(run and run != m[0] for run, m in zip(skeleton, runs, strict=True)):
            continue
        for one, m in zip(found, runs, strict=True):
            one.cells[at] = Token(one.kind, m[0], token.start + m.start(), token.start + m.end())
    return found


def _is_event(values: Sequence[str]) -> bool:
    known = code_table.load()
    return sum(len(v) == 4 and v[0].upper() in "ERP" and v[1:].upper() in known for v in values) > 0.8 * len(values)


def _words_off(part: Part) -> list[Part]:
    """Words that never change as fixed text; a two-letter code in front of a text as a value of its own."""
    values = part.values()
    if len(set(values)) == 1:
        part.fixed = values[0] if len(values) > 1 else ""
        return [part]
    heads = [re.match(r"(\w\w) (?=\S)", value) for value in values]
    codes = sum(m is not None and m[1].upper() in sia_table.load() for m in heads)
    if codes > 0.8 * len(values):
        return list(_split(part, lambda text: text.find(" ")))
    first, last = {v.split(" ")[0] for v in values}, {v.split(" ")[-1] for v in values}
    if len(first) == 1 and all(" " in v for v in values):
        word, rest = _split(part, lambda text: text.find(" "))
        word.fixed = word.values()[0]
        return [word, *_words_off(rest)]
    if len(last) == 1 and all(" " in v for v in values):
        rest, word = _split(part, lambda text: text.rfind(" "))
        word.fixed = word.values()[0]
        return [*_words_off(rest), word]
    return [part]


def _split(part: Part, where: Callable[[str], int]) -> tuple[Part, Part]:
    """Two parts of one, cut at a blank."""
    one, other = Part("W", place=part.place), Part("W", place=part.place)
    for at, token in part.cells.items():
        n = where(token.text)
        if n < 0:
            n = len(token.text)
        one.cells[at] = Token("W", token.text[:n], token.start, token.start + n)
        if rest := token.text[n + 1 :]:
            other.cells[at] = Token("W", rest, token.start + n + 1, token.end)
    return one, other


def names(parts: Sequence[Part]) -> dict[int, str]:
    """Part -> the words in front of it that are the same on every line; signs between them do not count."""
    found: dict[int, str] = {}
    words = ""
    for n, part in enumerate(parts):
        if part.fixed:
            letters = re.sub(r"[^\w/ ]", "", part.fixed).strip("_/ ")
            if letters and not letters.isdigit():
                words = _LETTERS.get(letters.casefold(), letters) if len(letters) == 1 else letters
            elif part.fixed not in ":=#.-<([\"'":
                words = ""
        else:
            found[n], words = words, ""
    return found


def rows_of(parts: Sequence[Part], lines: Mapping[int, object]) -> list[tuple[str, ...]]:
    """The values of each line, '' where it has none; fixed parts are left out."""
    values = [part for part in parts if not part.fixed]
    return [tuple(p.cells[at].text if at in p.cells else "" for p in values) for at in lines]
