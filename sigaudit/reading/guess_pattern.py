"""A log that no delimiter cuts understood: printers' text, frames and messages behind a time.

The parts of its lines are columns like those of a delimited export, with the fixed words in front of them as
their header; so the same shapes of values decide. Lines without a site are left out of the parts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sigaudit.reading.guess_columns import Roles, roles
from sigaudit.reading.guess_delimited import chosen, received
from sigaudit.reading.guess_events import EventGuess, events, meaning
from sigaudit.reading.guess_inside import Inside
from sigaudit.reading.guess_parts import names, told_apart
from sigaudit.reading.guess_shapes import Part, laid_over
from sigaudit.reading.guess_times import TimeGuess, times
from sigaudit.reading.guess_tokens import TIMED, Token, tokens
from sigaudit.reading.guess_words import said

__all__ = ["Found", "timed", "understood"]

_LONGEST = 600  # characters of a line that is looked at
_MOST_SHORT = 0.7  # of the parts that lines usually have
_MOST_WORDS = 60  # house: more different texts are remarks, not events


@dataclass(frozen=True)
class Found:
    """parts of the lines; time, event and fields by the part's number; named: the words in front of a part.

    words: the station's own words for events, where there is no code; lines: those that have any part.
    """

    parts: list[Part]
    names: Mapping[int, str]
    time: TimeGuess
    event: EventGuess | None
    fields: Mapping[str, int]
    words: Mapping[str, int]
    lines: Sequence[int]
    read: Mapping[int, datetime]
    doubts: tuple[str, ...]


def timed(lines: Sequence[str], inside: Inside) -> dict[int, list[Token]]:
    """The tokens of the lines that have a time where most have one, and what they hold inside."""
    cut = {at: tokens(line, inside.pattern, inside.token) for at, line in enumerate(lines) if len(line) <= _LONGEST}
    if inside.token:
        cut = {at: one for at, one in cut.items() if any(token.kind == inside.token for token in one)}
    shapes = {at: "".join(token.kind for token in one if token.kind in TIMED) for at, one in cut.items()}
    counted = Counter(shape for shape in shapes.values() if shape)
    if not counted:
        return {}
    usual = counted.most_common(1)[0][0]
    # A second time, such as the panel's, may stand on some lines only.
    common = (shape for shape, n in counted.items() if n > 0.1 * len(cut) and usual.startswith(shape))
    least = min(common, key=len, default=usual)
    found = {at: one for at, one in cut.items() if shapes[at].startswith(least)}
    # A page's header with the date of printing has fewer parts, or words before its time.
    begins = Counter(one[0].kind in TIMED for one in found.values()).most_common(1)[0][0]
    return {at: one for at, one in found.items() if not begins or one[0].kind in TIMED or one[0].kind == "P"}


def understood(
    lines: Sequence[str], cut: Mapping[int, list[Token]], inside: Inside, year: str, *, in_columns: bool = True
) -> Found | str:
    """What the lines say, or which field is missing. in_columns: a printer may keep its columns' places."""
    first = _once(lines, cut, inside, year, in_columns)
    if isinstance(first, str) and first in ("account", "event"):
        # Short lines of the printer or the operator, one of them for every few signals, may be in the way.
        usual = sorted(map(len, cut.values()))[len(cut) // 2]
        cut = {at: one for at, one in cut.items() if len(one) > _MOST_SHORT * usual}
        first = _once(lines, cut, inside, year, in_columns)
    if isinstance(first, str):
        return first
    told = _telling(first, inside)
    if len(told) == len(cut):
        return first
    # Once more without the lines that say nothing of a site: their parts are in nobody's way then.
    return _once(lines, {at: cut[at] for at in told}, inside, year, in_columns) if told else "account"


def _telling(found: Found, inside: Inside) -> list[int]:
    """The lines that give account and event, or hold what gives them."""
    if inside.token:
        return list(found.lines)
    assert found.event is not None
    needed = [found.fields["account"], *found.event.columns.values()]
    return [at for at in found.lines if all(at in found.parts[n].cells for n in needed)]


def _once(
    lines: Sequence[str], cut: Mapping[int, list[Token]], inside: Inside, year: str, in_columns: bool
) -> Found | str:
    parts = told_apart(laid_over(lines, cut, in_columns=in_columns), lines, len(cut))
    held = sorted(set().union(*(part.cells for part in parts)))
    named = names(parts)
    # What holds account and event is of interest even where all lines hold the same.
    values = [n for n, part in enumerate(parts) if not part.fixed or (inside.token and part.kind == inside.token)]
    words = [named.get(n, "") for n in values]
    rows = [tuple(_cell(parts[n], at, year) for n in values) for at in held]
    kinds = [parts[n].kind for n in values]
    clocks = [i for i, kind in enumerate(kinds) if kind in TIMED]
    if not clocks or not rows:
        return "time"
    found = [
        replace(one, columns=tuple(clocks[i] for i in one.columns))
        for one in times([tuple(row[i] for i in clocks) for row in rows])
    ]
    if not found:
        return "date" if {kinds[i] for i in clocks} == {"C"} else "time"
    time, other, doubts = received(found, words)
    free = [i for i, kind in enumerate(kinds) if kind not in TIMED + "XFMB"]
    event: EventGuess | None = None
    told: dict[str, int] = {}
    if inside.token:
        if inside.token not in kinds:
            return "event"
        which = _beside(rows, free, words, kinds.index(inside.token), inside)
    else:
        options = events(rows, free, words)
        if not options and (texts := _in_words(rows, [i for i in free if kinds[i] == "W"])) is not None:
            options, told = [texts[0]], texts[1]
        both = chosen(rows, free, words, options)
        if isinstance(both, str):
            return both
        event, which = both
    fields = {field: values[i] for field, i in which.fields.items()}
    if other is not None and len(other.columns) == 1:
        fields["panel_time"] = values[other.columns[0]]
    if "text" not in fields and (at := _text(parts, values, [*fields.values(), *_places(event, values)])) is not None:
        fields["text"] = at
    if event is not None:
        event = replace(event, columns={name: values[i] for name, i in event.columns.items()})
    read = _read(rows, held, time)
    doubts = [*doubts, *(event.doubts if event else ()), *which.doubts]
    time = replace(time, columns=tuple(values[i] for i in time.columns))
    return Found(parts, named, time, event, fields, told, held, read, tuple(doubts))


def _cell(part: Part, at: int, year: str) -> str:
    if at not in part.cells:
        return ""
    text = part.cells[at].text
    return f"{year} {text}" if part.kind == "Y" else text


def _places(event: EventGuess | None, values: Sequence[int]) -> list[int]:
    return [values[i] for i in event.columns.values()] if event else []


def _beside(
    rows: Sequence[Sequence[str]], free: Sequence[int], words: Sequence[str], at: int, inside: Inside
) -> Roles:  # fmt: skip
    """The receiver and its line beside what the lines hold: told by the accounts and zones in it."""
    said_ = [inside.says(row[at]) for row in rows]
    more = [tuple(row) + one for row, one in zip(rows, said_, strict=True)]
    width = len(rows[0])
    account, event, partition, zone = range(width, width + 4)
    put = [account, *(i for i in (partition, zone) if any(row[i] for row in more))]
    names_ = [*words, "account", "event", "partition", "zone"]
    which = roles(more, [*free, *put], names_, event)
    fields = {name: i for name, i in which.fields.items() if i < width and name not in ("account", "partition", "zone")}
    inner = [said(i, names_) for i in range(width, width + 4)]
    doubts = [doubt for doubt in which.doubts if not any(doubt.startswith(one) for one in inner)]
    return Roles(fields, tuple(doubts))


def _in_words(rows: Sequence[Sequence[str]], free: Sequence[int]) -> tuple[EventGuess, dict[str, int]] | None:
    """The column of a few words that most lines have, as the event, and the words."""
    best: tuple[float, int] | None = None
    for i in free:
        filled = [row[i] for row in rows if row[i]]
        kinds = len(set(filled))
        if 2 <= kinds <= min(_MOST_WORDS, max(3, len(filled) // 2)) and len(filled) >= 0.9 * len(rows):
            worth = kinds + len(filled) / len(rows)
            best = max(best or (worth, -i), (worth, -i))
    if best is None:
        return None
    at = -best[1]
    counted = dict(Counter(row[at] for row in rows if row[at]).most_common())
    doubt = (
        "The events are words of the station's own: until event.words says what each stands for, they are kept as "
        "they are written and no code is known."
    )
    for i in free:
        words = {row[i] for row in rows}
        if i != at and 2 <= len(words) <= 4 and all(meaning(word) for word in words):
            letters = {word: meaning(word) for word in sorted(words)}
            return EventGuess({"qualifier": i, "code": at}, "separate", letters, 0.5, (doubt,)), counted
    return EventGuess({"event": at}, "any", {}, 0.5, (doubt,)), counted


def _text(parts: Sequence[Part], values: Sequence[int], taken: Sequence[int]) -> int | None:
    """The last words or free text that nothing else claims."""
    left = [n for n in values if parts[n].kind in "WX" and n not in taken and len(set(parts[n].values())) > 1]
    return left[-1] if left else None


def _read(rows: Sequence[Sequence[str]], held: Sequence[int], time: TimeGuess) -> dict[int, datetime]:
    """Line -> its time, where it can be read."""
    found = {}
    for at, row in zip(held, rows, strict=True):
        text = " ".join(row[i] for i in time.columns)
        try:
            form = time.forms[0]
            found[at] = datetime.fromisoformat(text) if form == "iso" else datetime.strptime(text, form)
        except ValueError:
            continue
    return found
