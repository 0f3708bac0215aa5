"""Which columns of small numbers are receiver, line, partition and zone: by what tells their values.

A receiver and its line are told by the account; a partition by account and zone; a zone by neither. Tests
are about no zone. Thresholds and weights are house: chosen for exports of every shape.
"""

from __future__ import annotations

import itertools
import re
from collections import Counter, defaultdict
from collections.abc import Hashable, Mapping, Sequence

from sigaudit.reading.codes import code_table, sia_table
from sigaudit.reading.guess_words import FIELD_WORDS, HINT, foreign, hint, said

__all__ = ["Small", "assigned", "is_small"]

_CLOSE = 0.1  # two columns nearer than this fit equally well
_LEAST = 0.4
_DOUBTED = 0.3


def is_small(column: Sequence[str]) -> bool:
    """Numbers to 999, or short names of which there are few."""
    filled = [value for value in column if value]
    if not filled:
        return False
    numbers = sum(value.isdecimal() and value.isascii() and len(value) <= 4 for value in filled)
    if numbers >= 0.95 * len(filled):
        return True
    return len(set(filled)) <= 12 and all(re.fullmatch(r"[A-Za-z0-9_.-]{1,8}", value) for value in filled)


def _lift(given: Sequence[Hashable], column: Sequence[str]) -> float:
    """How far ``given`` tells the column's value: 0 not at all, 1 wholly (share of wrong guesses saved)."""
    most = Counter(column).most_common(1)[0][1]
    if most == len(column):
        return 1.0
    by: dict[Hashable, Counter[str]] = defaultdict(Counter)
    for key, value in zip(given, column, strict=True):
        by[key][value] += 1
    repeated = [one for one in by.values() if sum(one.values()) > 1]
    total = sum(sum(one.values()) for one in repeated)
    if not total:
        return 0.0
    # One row of each key is what it was learnt from.
    right = sum(one.most_common(1)[0][1] - 1 for one in repeated)
    base = most / len(column)
    return max(0.0, (right / (total - len(repeated)) - base) / (1 - base))


class Small:
    """Scores the columns of small values, against the accounts and codes they stand with."""

    def __init__(
        self, columns: Mapping[int, Sequence[str]], accounts: Sequence[str], codes: Sequence[str],
        names: Sequence[str], account: int, event: int,
    ) -> None:  # fmt: skip
        self.columns = {at: column for at, column in columns.items() if all(len(value) < 5 for value in column)}
        self.accounts, self.codes, self.names, self.account, self.event = accounts, codes, names, account, event
        nothing = {code for code, one in code_table.load().items() if one.data_kind == "none" or one.test_kind}
        nothing |= {code for code, one in sia_table.load().items() if one.data_kind == "none"}
        # Tests are about the whole site: their zone and partition are empty or zero (common practice, no source).
        self.none = [(code if len(code) < 4 else code[-3:]) in nothing for code in codes]
        self.telling = 0 < sum(self.none) < len(codes)

    def score(self, at: int, column: Sequence[str]) -> dict[str, float]:
        """Field -> fit of a column, 0 to 1 and what its header word adds."""
        filled = [value for value in column if value]
        kinds = len(set(filled))
        digits = all(value.isdecimal() for value in filled)
        by_account, by_code = _lift(self.accounts, column), _lift(self.codes, column)
        constant = kinds == 1
        empty = self._empty(column)
        coded = 0.0 if constant else by_code
        full = len(filled) / len(column)
        near = {"zone": at - self.event in (1, 2, 3), "partition": at - self.event in (1, 2)}
        before = {"receiver": at < self.account, "line": at < self.account}
        found: dict[str, float] = {}
        if digits:
            wide = sum(len(value) == 3 for value in filled) / len(filled)
            many = min(kinds / min(10, max(3, len(column) / 10)), 1.0)
            found["zone"] = 0.15 + 0.4 * many + 0.2 * wide + 0.2 * empty + 0.1 * near["zone"] - 0.3 * constant
            few = kinds <= 16 and max(map(int, filled)) <= 99
            if few:
                steady = max(by_account, self._by_zone(at, column))
                found["partition"] = (
                    0.25 + 0.25 * steady + 0.3 * empty + 0.15 * near["partition"] - 0.15 * constant
                    - 0.3 * (coded > 0.9 and kinds > 3) - 0.2 * (by_account < 0.15 and empty < 0.2)
                )  # fmt: skip
        if kinds <= 12 and full > 0.9:
            steady = 0.5 * by_account if not constant else 0.25
            found["receiver"] = 0.25 + steady + 0.1 * before["receiver"] + 0.05 * (kinds <= 4) - 0.35 * empty
            found["line"] = 0.25 + steady + 0.1 * before["line"] + 0.05 * digits - 0.35 * empty
            if by_code > 0.9 and by_account < 0.5:
                found["receiver"] -= 0.4
                found["line"] -= 0.4
        if by_account > 0.9 and kinds > 16:
            found["zone"] = found.get("zone", 0.0) - 0.4
        for field in found:
            if hint(field, self.names[at]):
                found[field] += HINT
            elif foreign(self.names[at]):
                found[field] -= HINT
            elif self.names[at] and any(hint(f, self.names[at]) for f in FIELD_WORDS):
                found[field] -= HINT / 2
        return found

    def _by_zone(self, at: int, column: Sequence[str]) -> float:
        """How far account and one more number, such as the zone, tell the value."""
        others = (one for other, one in self.columns.items() if other != at)
        return max((_lift(list(zip(self.accounts, one, strict=True)), column) for one in others), default=0.0)

    def _empty(self, column: Sequence[str]) -> float:
        """How much more often the value is none or zero where the code is about no zone."""
        if not self.telling:
            return 0.0
        none = Counter(self.none)
        zero = Counter(is_none for is_none, value in zip(self.none, column, strict=True) if not value.strip("0"))
        return max(0.0, zero[True] / none[True] - zero[False] / none[False])


def assigned(
    small: Small, columns: Mapping[int, Sequence[str]], names: Sequence[str]
) -> tuple[dict[str, int], list[str]]:
    """The best choice of different columns for the four fields, and what is doubtful about it."""
    fields = ("receiver", "line", "partition", "zone")
    scores = {at: small.score(at, column) for at, column in columns.items()}
    listed = sorted(scores, key=lambda at: -max(scores[at].values(), default=0.0))[:8]
    options: list[list[int | None]] = [
        [None, *(at for at in listed if scores[at].get(field, 0.0) >= _LEAST)] for field in fields
    ]
    ranked = []
    for choice in itertools.product(*options):
        used = [at for at in choice if at is not None]
        if len(used) == len(set(used)):
            worth = sum(scores[at][field] - 0.3 for field, at in zip(fields, choice, strict=True) if at is not None)
            receiver, line, partition, zone = choice
            if receiver is not None and line is not None:
                worth += 0.1 * (line - receiver == 1) - 0.1 * (line < receiver)
            if partition is not None and zone is not None:
                worth += 0.1 * (zone - partition == 1)
            if line is not None and receiver is None:
                worth -= 0.05  # a lone column names the receiver
            ranked.append((worth, choice))
    ranked.sort(key=lambda one: -one[0])
    worth, best = ranked[0]
    taken = {field: at for field, at in zip(fields, best, strict=True) if at is not None}
    doubts: list[str] = []
    # Without a word that helps, the values alone must tell more.
    helped = any(hint(field, names[at]) for field, at in taken.items())
    close = _CLOSE if helped else 1.5 * _CLOSE
    for other, choice in ranked[1:]:
        if worth - other >= close:
            break
        for field, mine, theirs in zip(fields, best, choice, strict=True):
            if mine != theirs and not any(f" {field}" in doubt for doubt in doubts):
                doubts.append(_unclear(field, mine, theirs, names))
    for at in sorted(scores):
        likely = max(scores[at], key=lambda field: scores[at][field], default="")
        if at in taken.values() or doubts or not likely or foreign(names[at]):
            continue
        if scores[at][likely] >= _DOUBTED and (len(set(columns[at])) > 1 or columns[at][0].isdecimal()):
            doubts.append(f"{said(at, names)} may be the {likely}; it is left out.")
    doubts += [
        f"{said(at, names)} is taken as the {field} by its values, against its name."
        for field, at in taken.items()
        if foreign(names[at]) and not hint(field, names[at])
    ]
    receiver, line = taken.get("receiver"), taken.get("line")
    if receiver is not None and line is not None and not doubts:
        spoken = any(hint(field, names[at]) for field, at in (("receiver", receiver), ("line", line)))
        fewer = 1 < len(set(columns[receiver])) <= len(set(columns[line]))
        if not spoken and not (line - receiver == 1 and fewer):
            doubts.append(
                f"{said(receiver, names)} is taken as the receiver and {said(line, names)} as its line; it may be "
                "the other way round."
            )
    told = [field for field in ("receiver", "line", "partition") if field in taken]
    if told and not helped and not doubts:
        doubts.append(
            f"No header word tells which column is {' or '.join(told)}; only their values do: see the preview."
        )
    if "receiver" not in taken:
        doubts.append("No column looks like the receiver: name one, or give it as a constant.")
    return taken, doubts


def _unclear(field: str, mine: int | None, theirs: int | None, names: Sequence[str]) -> str:
    if mine is None or theirs is None:
        at = theirs if mine is None else mine
        assert at is not None
        verdict = "not taken" if mine is None else "taken"
        return f"{said(at, names)} may or may not be the {field}; it is {verdict} as such."
    return f"{said(mine, names)} and {said(theirs, names)} could both be the {field}; the first is taken."
