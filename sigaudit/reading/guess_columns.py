"""Which column of an unknown export is account, zone, partition, receiver and line, by the shape of the values.

Each column is scored for each field; header words (words of the trade) add little, so that they decide only
where the values leave it open. Thresholds and weights here are house: chosen for exports of every shape.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sigaudit.reading.guess_numbers import Small, assigned, is_small
from sigaudit.reading.guess_words import HINT, foreign, hint, said

__all__ = ["Roles", "roles"]

_CLOSE = 0.1  # two columns nearer than this fit equally well
_LEAST_ACCOUNT = 0.25
_NUMBER = re.compile(r"(?=.*[0-9B-Fb-f])[0-9A-Za-z#-]{2,16}")
_RIVALS = ("zone", "receiver", "line", "partition", "caller", "called")


@dataclass(frozen=True)
class Roles:
    """fields: field -> position from 0; doubts: sentences."""

    fields: Mapping[str, int]
    doubts: tuple[str, ...]


def roles(rows: Sequence[Sequence[str]], free: Sequence[int], names: Sequence[str], event: int) -> Roles:
    """The columns beside time and event. ``event``: position of the event or code column."""
    columns = {i: [row[i] for row in rows] for i in free}
    doubts: list[str] = []
    scored = sorted(((_account(columns[i], names[i]), -i) for i in free), reverse=True)
    if not scored or scored[0][0] < _LEAST_ACCOUNT:
        return Roles({}, ())
    account = -scored[0][1]
    taken = {"account": account}
    if len(scored) > 1 and scored[0][0] - scored[1][0] < _CLOSE:
        doubts.append(
            f"{said(account, names)} and {said(-scored[1][1], names)} could both be the account; the first is taken."
        )
    # The digits of the code say whether a line is about a zone; both qualifiers and none may stand before it.
    codes = [row[event].upper() for row in rows]
    rest = {i: columns[i] for i in free if i != account and is_small(columns[i])}
    small = Small(rest, columns[account], codes, names, account, event)
    found, unclear = assigned(small, rest, names)
    taken |= found
    doubts += unclear
    _others(taken, {i: c for i, c in columns.items() if i not in taken.values()}, names)
    return Roles(taken, tuple(doubts))


def _account(column: Sequence[str], name: str) -> float:
    """0 to 1.3: many values, most of them repeating, short, of one width, with digits, never empty."""
    filled = [value for value in column if value]
    if len(filled) < 0.7 * len(column) or not filled:
        return 0.0
    fitting = [value for value in filled if _NUMBER.fullmatch(value)]
    share = len(fitting) / len(filled)
    if share < 0.8:
        return 0.0
    counted = Counter(fitting)
    kinds, once = len(counted), sum(n == 1 for n in counted.values())
    widths = Counter(map(len, fitting))
    width, same = widths.most_common(1)[0]
    likely = {2: 0.3, 3: 0.75, 4: 1.0, 5: 0.95, 6: 0.95, 7: 0.8, 8: 0.8}.get(width, 0.5)
    shape = 1.0 if all(re.fullmatch("[0-9]+|[0-9A-Fa-f]{3,16}", v) for v in counted) else 0.75
    many = min(kinds / min(12, max(2, len(filled) / 6)), 1.0)
    # Nought and nothing are numbers of zones, seldom of accounts.
    nought = 1.0 - min(0.6, 4 * sum(not value.strip("0") for value in column) / len(column))
    # A number that never comes again is one of a line, not of an account.
    unique = 1.0 if once < 0.7 * len(filled) or len(filled) < 12 else 0.3
    score = share * (0.25 + 0.75 * many) * likely * shape * unique * nought * (0.85 + 0.15 * same / len(fitting))
    if hint("account", name):
        score += HINT
    elif foreign(name) or any(hint(field, name) for field in _RIVALS):
        score -= HINT / 2
    return score


_FORMATS = {"contact_id", "sia", "contact_input", "check_in", "other"}
_ORIGINS = {"panel", "communicator", "network", "receiver"}


def _others(taken: dict[str, int], columns: Mapping[int, Sequence[str]], names: Sequence[str]) -> None:
    """Adds text, format, origin, path, caller and called, where values and header word agree or leave no choice."""
    texts: list[int] = []
    for at, column in columns.items():
        filled = {value.casefold() for value in column if value}
        if not filled:
            continue
        if filled <= _FORMATS:
            taken.setdefault("format", at)
        elif filled <= _ORIGINS:
            taken.setdefault("origin", at)
        elif all(re.fullmatch(r"\+?[0-9][0-9 -]{5,15}", value) for value in filled):
            for field in ("caller", "called"):
                if hint(field, names[at]):
                    taken.setdefault(field, at)
        elif hint("path", names[at]) and len(filled) <= 12:
            taken.setdefault("path", at)
        elif hint("text", names[at]):
            texts.insert(0, at)
        elif sum(" " in value for value in filled) > 0.5 * len(filled) and not names[at]:
            texts.append(at)
    if texts and (len(texts) == 1 or names[texts[0]]):
        taken.setdefault("text", texts[0])
