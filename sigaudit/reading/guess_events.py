"""Which columns of an unknown export say what happened: one event column, or a code and its qualifier.

By the values: most of them must be codes of the open standards; a qualifier is a column of few values in
which what can never be restored always has the same one.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sigaudit.reading.codes import code_table, sia_table
from sigaudit.reading.guess_words import said

__all__ = ["EventGuess", "events", "meaning"]

_LEAST = 0.8  # share of the filled values that must be known codes
_WORDS = {
    "E": (
        "e", "event", "new", "newevent", "open", "opening", "opened", "alarm", "active", "act", "activated",
        "set", "on", "begin", "start", "trip", "tripped", "fault", "n", "evt", "occurred", "raised", "1",
    ),
    "R": (
        "r", "restore", "restored", "restoral", "rest", "rst", "close", "closing", "closed", "clear",
        "cleared", "off", "end", "reset", "normal", "ok", "rtn", "return", "inactive", "c", "3",
    ),
    "P": (
        "p", "previous", "prev", "status", "stat", "still", "repeat", "report", "reported", "old", "pending",
        "ongoing", "present", "s", "6",
    ),
}  # fmt: skip
_MEANT = {word: letter for letter, words in _WORDS.items() for word in words}
_MOST_WORDS = 8
_SETS = ("ERP", "erp", "136")


@dataclass(frozen=True)
class EventGuess:
    """columns: field -> position; style as in a layout; qualifiers: as written -> E, R, P; score 0 to 1."""

    columns: Mapping[str, int]
    style: str
    qualifiers: Mapping[str, str]
    score: float
    doubts: tuple[str, ...] = ()


def events(rows: Sequence[Sequence[str]], free: Sequence[int], names: Sequence[str]) -> list[EventGuess]:
    """What fits, best first. ``free``: positions not taken by the time; ``names``: header words or ''."""
    found = []
    for i in free:
        column = [row[i] for row in rows]
        whole = _whole(column, i)
        if whole is not None:
            found.append(whole)
        elif (share := _codes(column)) >= _LEAST:
            found.append(_separate(rows, i, share, free, names))
    return sorted(found, key=lambda one: -one.score)


def meaning(word: str) -> str:
    """E, R or P for a word of the trade that says what happened, else ''."""
    return _MEANT.get(re.sub("[^a-z0-9]", "", word.casefold()), "")


def _whole(column: Sequence[str], at: int) -> EventGuess | None:
    """An event column by itself, else None."""
    filled = [value.upper() for value in column if value]
    known = code_table.load()
    filled, word = _without_filler(filled)
    if not filled:
        return None
    told = f"{word!r} stands often where other lines have their event; it is no code and is kept as it stands."
    doubts = (told,) if word else ()
    heads = Counter(value[0] for value in filled if re.fullmatch("[ERP136][0-9A-F]{3}", value) and value[1:] in known)
    contact = sum(heads.values()) / len(filled)
    sia = sum(value in sia_table.load() for value in filled if len(value) == 2) / len(filled)
    kinds = len(set(filled))
    variety = min(kinds, 4) / 40
    if contact >= _LEAST and contact >= sia:
        letters, digits = any(heads[c] for c in "ERP"), any(heads[c] for c in "136")
        style = "any" if letters and digits else "qualified" if letters else "digits"
        return EventGuess({"event": at}, style, {}, contact * (0.9 if letters else 0.8) + variety, doubts)
    if sia >= _LEAST and kinds > 1:
        # Two letters are few: states and languages have such names too, but not mostly these ones.
        return EventGuess({"event": at}, "sia", {}, sia * 0.75 + variety, doubts)
    if contact + sia >= _LEAST and contact > 0:
        doubt = "The event column mixes Contact ID and SIA; SIA events need a format column to be told apart."
        return EventGuess({"event": at}, "any", {}, (contact + sia) * 0.7 + variety, (doubt,))
    return None


def _without_filler(filled: list[str]) -> tuple[list[str], str]:
    """The values without a word that fills a tenth or more of the lines, such as that of check-ins, and the word."""
    common = Counter(value for value in filled if len(value) > 2 and value.isalpha()).most_common(1)
    if not common or common[0][1] < 0.1 * len(filled):
        return filled, ""
    rest = [value for value in filled if value != common[0][0]]
    return (rest, common[0][0]) if len(set(rest)) >= 3 and len(rest) >= 0.02 * len(filled) else (filled, "")


def _codes(column: Sequence[str]) -> float:
    """Share of values that are three digits of a known code; 0 where the column has one value only."""
    filled = [value.upper() for value in column if value]
    if len(set(filled)) < 2 and len(filled) > 3:
        return 0.0
    return sum(value in code_table.load() for value in filled) / len(filled) if filled else 0.0


def _separate(
    rows: Sequence[Sequence[str]], code: int, share: float, free: Sequence[int], names: Sequence[str]
) -> EventGuess:
    """A code column with the column that qualifies it best."""
    kinds = len({row[code] for row in rows})
    score = share * 0.8 + min(kinds, 4) / 40
    found = []
    for i in free:
        if i != code and (fit := _qualifier(rows, code, i, names[i])) is not None:
            # A qualifier stands beside its code more often than elsewhere.
            found.append((fit[0] + 0.05 * (abs(i - code) == 1), i, fit[1], fit[2]))
    if not found:
        doubt = f"There is a code in {said(code, names)} but no qualifier: every line is taken as a new event."
        return EventGuess({"code": code}, "separate", {}, score - 0.1, (doubt,))
    found.sort(key=lambda one: -one[0])
    best = found[0]
    doubts = list(best[3])
    if len(found) > 1 and best[0] - found[1][0] < 0.08:
        doubts.append(
            f"{said(best[1], names)} and {said(found[1][1], names)} could both be the qualifier; the first is taken."
        )
    return EventGuess({"qualifier": best[1], "code": code}, "separate", best[2], score, tuple(doubts))


def _qualifier(
    rows: Sequence[Sequence[str]], code: int, at: int, name: str
) -> tuple[float, dict[str, str], list[str]] | None:
    """(score, what stands for E, R, P, doubts) of a column as the qualifier of the code column, else None."""
    counted = Counter(row[at] for row in rows)
    words = [word for word in counted if word]
    if not words or len(words) > _MOST_WORDS or counted[""] > 0.2 * len(rows):
        return None
    known = code_table.load()
    once = Counter(
        row[at] for row in rows if (found := known.get(row[code].upper())) is not None and found.restorable == "no"
    )
    restorable = Counter(
        row[at] for row in rows if (found := known.get(row[code].upper())) is not None and found.restorable != "no"
    )
    meant = {word: meaning(word) for word in words}
    covered = sum(counted[word] for word in words if meant[word]) / sum(counted[word] for word in words)
    header = 0.1 * any(part in name for part in ("qual", "state", "status", "new", "restor", "type", "kind"))
    if covered > 0.98:
        told = {word: letter for word, letter in meant.items() if letter}
        for whole in _SETS:
            # What the file happens not to hold may come tomorrow.
            told = {**dict(zip(whole, "ERP", strict=True)), **told} if set(told) <= set(whole) else told
        return _proven(meant, once, restorable, words) + header, told, []
    return _inferred(meant, once, restorable, counted, header)


def _proven(meant: Mapping[str, str], once: Counter[str], restorable: Counter[str], words: Sequence[str]) -> float:
    """How well known words behave: told-once codes are E or P, the others both E and R."""
    total = sum(once.values())
    good = sum(n for word, n in once.items() if meant.get(word) in ("E", "P")) / total if total else 0.7
    both = len({meant.get(word) for word in restorable if restorable[word]}) > 1
    digits = all(word.isdigit() for word in words)
    return good * (0.6 if digits else 0.75) + 0.15 * both - 0.3 * (len(words) == 1)


def _inferred(
    meant: Mapping[str, str], once: Counter[str], restorable: Counter[str], counted: Counter[str], header: float
) -> tuple[float, dict[str, str], list[str]] | None:
    """Words nobody knows: the word of told-once codes is E, the other one of restorable codes is R."""
    words = [word for word in counted if word]
    if not 2 <= len(words) <= 3 or not once or any(word.isdigit() for word in words):
        return None
    new, n = once.most_common(1)[0]
    others = [word for word in words if word != new]
    if n < 0.9 * sum(once.values()) or not new or not any(restorable[word] for word in others):
        return None
    restored = max(others, key=lambda word: restorable[word])
    taken = {new: "E", restored: "R"}
    taken |= {word: letter for word, letter in meant.items() if letter}
    told = " and ".join(f"{word!r} as {letter}" for word, letter in sorted(taken.items()))
    doubts = [f"The qualifier's words are not known; from the codes they stand with, {told} is taken."]
    if left := [word for word in words if word not in taken]:
        doubts.append(f"What {', '.join(map(repr, left))} means as qualifier is not known.")
    return 0.55 + header, taken, doubts
