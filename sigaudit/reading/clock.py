"""Receiver's wall time to UTC, with a mark where the wall time does not tell.

Offsets come from the IANA time zone database through Python's zoneinfo. Where the clock goes back, an hour
is written twice; which pass a line belongs to is told by the order of one receiver's lines, or not at all
(doubt ``fold``, the earlier instant is kept). Where it goes forward, an hour does not exist; such a wall
time is carried on with the offset before the change (doubt ``gap``).
"""

from __future__ import annotations

import zoneinfo
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from sigaudit.store import calendar

__all__ = ["EARLIEST", "LATEST", "STEP_BACK", "Change", "Clock", "is_named_zone"]

EARLIEST, LATEST = datetime(1970, 1, 1), datetime(2200, 1, 1)
STEP_BACK = timedelta(minutes=5)
_MARGIN = timedelta(days=2)


def is_named_zone(name: str) -> bool:
    """True for Area/City names and UTC. EST, CET and their like do not say when the clock changes."""
    return (("/" in name) or name == "UTC") and name in zoneinfo.available_timezones()


@dataclass(frozen=True)
class Change:
    """One change of the offset: the instant (naive UTC) and the offsets from UTC [s] around it."""

    at_utc: datetime
    before_s: int
    after_s: int

    @property
    def low(self) -> datetime:
        """First wall time of the hour that is written twice, or of the one that does not exist."""
        return self.at_utc + timedelta(seconds=min(self.before_s, self.after_s))

    @property
    def high(self) -> datetime:
        """Wall time at which that hour is over."""
        return self.at_utc + timedelta(seconds=max(self.before_s, self.after_s))

    @property
    def repeats(self) -> bool:
        return self.after_s < self.before_s


class Clock:
    """The changes of one zone that wall times between two bounds can meet, as SQL over a column."""

    def __init__(self, zone: str, first_wall: datetime, last_wall: datetime) -> None:
        start = max(first_wall, EARLIEST) - _MARGIN
        spans = calendar.spans(zoneinfo.ZoneInfo(zone), start, min(last_wall, LATEST) + _MARGIN)
        self.first_offset_s = spans[0][2]
        self.changes = [Change(b[0], a[2], b[2]) for a, b in pairwise(spans)]

    @staticmethod
    def epoch() -> datetime:
        """A bound for contents without any wall time."""
        return EARLIEST

    @property
    def repeated(self) -> list[Change]:
        """The changes that write an hour twice."""
        return [change for change in self.changes if change.repeats]

    def utc_sql(self, wall: str) -> str:
        """Earlier (or only) instant of the wall time in a column, TIMESTAMP."""
        branches = [
            f"when {wall} >= {_stamp(change.high)} then {_shifted(wall, change.after_s)}"
            for change in reversed(self.changes)
        ]
        first = _shifted(wall, self.first_offset_s)
        return f"case {' '.join(branches)} else {first} end" if branches else first

    def later_sql(self, wall: str) -> str:
        """The instant of the second pass through a repeated hour; NULL elsewhere."""
        return self._cases(wall, [(c, _shifted(wall, c.after_s)) for c in self.repeated], "null::timestamp")

    def change_sql(self, wall: str) -> str:
        """Number, from 1, of the repeated hour the wall time lies in; 0 elsewhere."""
        return self._cases(wall, [(c, str(i)) for i, c in enumerate(self.repeated, start=1)], "0")

    def gap_sql(self, wall: str) -> str:
        """Whether the wall time lies in an hour that does not exist."""
        return self._cases(wall, [(c, "true") for c in self.changes if not c.repeats], "false")

    @staticmethod
    def _cases(wall: str, cases: list[tuple[Change, str]], otherwise: str) -> str:
        if not cases:
            return otherwise
        branches = " ".join(
            f"when {wall} >= {_stamp(change.low)} and {wall} < {_stamp(change.high)} then {value}"
            for change, value in cases
        )
        return f"case {branches} else {otherwise} end"


def passes_sql(stage: str) -> str:
    """line_no and pass (1, 2; 3 = not told) of the lines in repeated hours of one source.

    ``stage``: a relation with line_no, receiver, wall (TIMESTAMP, NULL where an offset was written) and
    change_no. The second pass begins at the one step back of more than five minutes in a receiver's
    lines of that hour; no such step, several, or a file that does not run forward in time: not told.
    """
    return f"""
with stream as (
    select line_no, receiver, wall, change_no from {stage} where wall is not null
),
runs as (
    select receiver, arg_min(wall, line_no) <= arg_max(wall, line_no) as forward from stream group by receiver
),
hours as (
    select *, coalesce(
        lag(wall) over (partition by receiver, change_no order by line_no) - wall
        > interval '{int(STEP_BACK.total_seconds())} seconds', false) as stepped
    from stream where change_no > 0
),
counted as (
    select *,
        count(*) filter (where stepped) over (partition by receiver, change_no) as steps,
        count(*) filter (where stepped) over (
            partition by receiver, change_no order by line_no rows unbounded preceding) as before
    from hours
)
select line_no, case when steps = 1 and forward then 1 + before else 3 end::tinyint as pass
from counted join runs using (receiver)"""


def instants(zone: str, wall: datetime) -> tuple[datetime, ...]:
    """Every instant (naive UTC) at which a clock in the zone shows ``wall``: none, one or two."""
    info = zoneinfo.ZoneInfo(zone)
    found = []
    for fold in (0, 1):
        at = wall.replace(tzinfo=info, fold=fold).astimezone(UTC)
        if at.astimezone(info).replace(tzinfo=None) == wall:
            found.append(at.replace(tzinfo=None))
    return tuple(sorted(set(found)))


def _stamp(moment: datetime) -> str:
    return f"timestamp '{moment:%Y-%m-%d %H:%M:%S}'"


def _shifted(wall: str, offset_s: int) -> str:
    return f"{wall} - interval '{offset_s} seconds'"
