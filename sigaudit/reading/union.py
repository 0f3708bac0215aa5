"""Which lines of overlapping sources are the same signal, and how many of equal lines are kept.

Lines are equal when their key (MD5 over the mapped fields) and their second agree. Over sources that overlap
there, the greatest count is kept. Where one source ends and another begins in one and the same second, each
can hold one of two equal lines: greatest of the ending ones plus greatest of the beginning ones, and what
exceeds any single source is marked ``edge_doubt``. A source that lies within one second adds its count to
both. The outcome depends on the set of sources only, not on their order.

In a repeated hour the passes are counted apart: greatest count of the first, of the second, and as many
lines of untold pass as some source holds beyond their sum.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

__all__ = ["Group", "Line", "Outcome", "Range", "State", "decide", "desired"]

LineId = tuple[int, int]  # source_id, line_no


@dataclass(frozen=True)
class Range:
    """First and last second of a source."""

    first: datetime
    last: datetime


@dataclass(frozen=True, order=True)
class State:
    """What a kept row says of its time."""

    received_utc: datetime
    time_doubt: str
    edge_doubt: bool


@dataclass(frozen=True)
class Line:
    """One of several equal lines. kept: it stands for a row of the store; fresh: read in this run."""

    source_id: int
    line_no: int
    turn: int
    received_utc: datetime
    kept: bool
    fresh: bool

    @property
    def id(self) -> LineId:
        return self.source_id, self.line_no


@dataclass
class Group:
    """Equal lines of one second; ``rows``: the store's rows that stand for some of them now.

    ``lost``: rows whose line is no longer part of its source (it was provisional).
    """

    second: datetime
    gap: bool
    lines: list[Line] = field(default_factory=list)
    rows: dict[LineId, State] = field(default_factory=dict)
    lost: dict[LineId, State] = field(default_factory=dict)


@dataclass
class Outcome:
    """take: fresh lines that become rows; change: rows that get another state or stand for another line;
    delete: rows that go; flips: lines of earlier runs that begin or cease to stand for a row."""

    take: dict[LineId, State] = field(default_factory=dict)
    change: dict[LineId, tuple[LineId, State]] = field(default_factory=dict)
    delete: set[LineId] = field(default_factory=set)
    flips: dict[LineId, bool] = field(default_factory=dict)


def desired(group: Group, ranges: dict[int, Range]) -> Counter[State]:
    """The rows that the sources' lines amount to."""
    counts: dict[int, Counter[int]] = defaultdict(Counter)
    earlier = later = None
    for line in group.lines:
        counts[line.turn][line.source_id] += 1
        if line.turn == 2:
            later = line.received_utc
        else:
            earlier = line.received_utc
    found: Counter[State] = Counter()
    if counts[0] and earlier is not None:
        total, sure = _edges(counts[0], group.second, ranges)
        doubt = "gap" if group.gap else "exact"
        found[State(earlier, doubt, False)] += sure
        found[State(earlier, doubt, True)] += total - sure
    first, second, untold = (max(counts[turn].values(), default=0) for turn in (1, 2, 3))
    if earlier is not None:
        found[State(earlier, "exact", False)] += first
        found[State(earlier, "fold", False)] += max(0, untold - first - second)
    if later is not None:
        found[State(later, "exact", False)] += second
    return +found


def _edges(counts: Counter[int], second: datetime, ranges: dict[int, Range]) -> tuple[int, int]:
    """(rows in all, rows that some single source holds)."""
    spanning = ending = beginning = single = 0
    for source_id, n in counts.items():
        begins, ends = ranges[source_id].first == second, ranges[source_id].last == second
        if begins and ends:
            single += n
        elif ends:
            ending = max(ending, n)
        elif begins:
            beginning = max(beginning, n)
        else:
            spanning = max(spanning, n)
    return max(spanning, ending + single + beginning), max(counts.values())


def decide(groups: Iterable[Group], ranges: dict[int, Range]) -> Outcome:
    """What has to change so that every group has its desired rows, with as little change as possible."""
    outcome = Outcome()
    for group in groups:
        _decide(group, desired(group, ranges), outcome)
    return outcome


def _decide(group: Group, wanted: Counter[State], outcome: Outcome) -> None:
    unfit: list[LineId] = []
    for row, state in sorted(group.rows.items()):
        if wanted[state] > 0:
            wanted[state] -= 1
        else:
            unfit.append(row)
    missing = sorted((+wanted).elements())
    while unfit and missing:
        row = unfit.pop(0)
        outcome.change[row] = (row, missing.pop(0))
    for row in unfit:
        outcome.delete.add(row)
        outcome.flips[row] = False
    fresh = _ranked([line for line in group.lines if line.fresh])
    for state in list(missing):
        line = next((one for one in fresh if one.received_utc == state.received_utc), None) or next(iter(fresh), None)
        if line is None:
            break
        fresh.remove(line)
        missing.remove(state)
        outcome.take[line.id] = state
    # A row whose own line is gone may stand for an equal line of another source.
    spare = [line for line in group.lines if not line.fresh and not line.kept]
    for row in sorted(group.lost):
        if missing and spare:
            line = spare.pop(0)
            outcome.change[row] = (line.id, missing.pop(0))
            outcome.flips[line.id] = True
        else:
            outcome.delete.add(row)


def _ranked(lines: Sequence[Line]) -> list[Line]:
    """Lines of the source that holds most come first, in their order."""
    counts = Counter(line.source_id for line in lines)
    return sorted(lines, key=lambda line: (-counts[line.source_id], line.source_id, line.line_no))
