"""What the exports tell of the receivers' clocks, and which findings rest on times in doubt.

A clock that stepped back leaves a span in which either side may be wrong: from the time after the step to the
time before it. A finding whose evidence lies in such a span, of an account heard in it on that receiver, is one
step less sure, like any doubtful time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pyarrow as pa

from sigaudit.judging.desk import Desk
from sigaudit.store import clock_breaks
from sigaudit.store.clock_breaks import ClockBreak, step_words
from sigaudit.store.opening import Store

_TEXT, _TIME = pa.string(), pa.timestamp("us")
_WEEK_S, _SLACK_S, _SLACK = 7 * 86400.0, 300.0, 0.05


@dataclass(frozen=True)
class Clocks:
    """breaks: steps back known at ``as_of``; unordered: (source, receiver) pairs that tell nothing of a clock."""

    breaks: Sequence[ClockBreak] = ()
    unordered: Sequence[tuple[int, str]] = ()

    def put(self, desk: Desk) -> None:
        """Tables ``order_breaks`` (one row per step back) and ``unordered`` (source_id, receiver, n)."""
        desk.put(
            "order_breaks",
            pa.table(
                {
                    "source_id": pa.array([b.source_id for b in self.breaks], pa.int64()),
                    "receiver": pa.array([b.receiver for b in self.breaks], _TEXT),
                    "line_no": pa.array([b.line_no for b in self.breaks], pa.int64()),
                    "from_utc": pa.array([b.after_utc for b in self.breaks], _TIME),
                    "until_utc": pa.array([b.before_utc for b in self.breaks], _TIME),
                    "step": pa.array([step_words(b.step_s) for b in self.breaks], _TEXT),
                }
            ),
        )
        desk.put(
            "unordered",
            pa.table(
                {
                    "source_id": pa.array([source for source, _ in self.unordered], pa.int64()),
                    "receiver": pa.array([receiver for _, receiver in self.unordered], _TEXT),
                }
            ),
        )

    @property
    def steps(self) -> list[tuple[str, float, float]]:
        """(receiver, from, until) of each span of doubt [s since 1970]."""
        epoch = datetime(1970, 1, 1)
        return [
            (b.receiver, (b.after_utc - epoch).total_seconds(), (b.before_utc - epoch).total_seconds())
            for b in self.breaks
        ]

    def told(self) -> list[list[Any]]:
        """Plain data for the fingerprint of a run."""
        steps = [[b.source_id, b.receiver, b.line_no, str(b.before_utc), str(b.after_utc)] for b in self.breaks]
        return [*steps, *([source, receiver] for source, receiver in self.unordered)]


def known_at(store: Store, as_of_utc: datetime | None = None) -> Clocks:
    """What the store tells of the clocks, nothing of it later than ``as_of_utc`` (None: all)."""
    return Clocks(*clock_breaks.judged(clock_breaks.read(store.catalog), as_of_utc))


def skipped_hours(receiver: str, from_s: float, until_s: float, steps: Iterable[tuple[str, float, float]]) -> bool:
    """Whether a silence is as long as a step back of the same clock within a week: hours that it jumped over.

    A clock that went back wrongly is set forward again, and one that was set back had jumped ahead before; either
    way some hours are written twice and as many not at all. steps: (receiver, from, until) [s since 1970]. House:
    a week, and five minutes or a twentieth for the silence before the next signal.
    """
    length = until_s - from_s
    return any(
        mine == receiver
        and abs(length - (b - a)) <= max(_SLACK_S, _SLACK * (b - a))
        and from_s - _WEEK_S <= b
        and a <= until_s + _WEEK_S
        for mine, a, b in steps
    )


def doubt(desk: Desk, rows: pa.Table) -> pa.Table:
    """Verdict rows with ``doubtful`` and the reason set where a finding's evidence lies in a span of doubt.

    Reads ``kept_clock_doubts`` (queries/measures/24_clock_doubts), for all checks alike.
    """
    spans: dict[str, list[tuple[str, datetime, datetime, str]]] = defaultdict(list)
    for account, *span in desk.rows("select * from kept_clock_doubts order by account_key, from_utc, receiver"):
        spans[account].append((span[0], span[1], span[2], span[3]))
    if not spans:
        return rows
    doubtful, reasons = rows["doubtful"].to_pylist(), rows["reason"].to_pylist()
    named = ("account_key", "verdict", "evidence_from_utc", "evidence_until_utc")
    for i, (account, verdict, begin, end) in enumerate(zip(*(rows[n].to_pylist() for n in named), strict=True)):
        if verdict != "finding" or account not in spans:
            continue
        hit = next((s for s in spans[account] if _meet(s[1], s[2], begin, end)), None)
        if hit is not None:
            doubtful[i] = 1
            said = f"the clock of receiver {hit[0]} stepped back {hit[3]} meanwhile"
            reasons[i] = f"{reasons[i].rstrip('; ')}; {said}" if reasons[i] else said
    for name, values, type_ in (("doubtful", doubtful, pa.int64()), ("reason", reasons, _TEXT)):
        rows = rows.set_column(rows.column_names.index(name), name, pa.array(values, type_))
    return rows


def _meet(from_utc: datetime, until_utc: datetime, begin: datetime | None, end: datetime | None) -> bool:
    return (begin is None or until_utc >= begin) and (end is None or from_utc <= end)
