"""What the exports tell of the receivers' clocks, and which findings rest on times in doubt.

A clock that stepped back leaves a span in which either side may be wrong: from the time after the step to the
time before it. A finding whose evidence lies in such a span, of an account heard in it on that receiver, is one
step less sure, like any doubtful time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pyarrow as pa

from sigaudit.judging.desk import Desk
from sigaudit.store import clock_breaks
from sigaudit.store.clock_breaks import ClockBreak, step_words
from sigaudit.store.opening import Store

MINUTES_ONLY = "the log shows whole minutes only"
_TEXT, _TIME = pa.string(), pa.timestamp("us")
_WEEK_S, _SLACK_S, _SLACK = 7 * 86400.0, 300.0, 0.05


@dataclass(frozen=True)
class Clocks:
    """breaks: steps back known at ``as_of``; unordered: (source, receiver) pairs that tell nothing of a clock.

    coarse: (receiver, line, first, last [UTC], resolution [s]) of exports that write no seconds.
    """

    breaks: Sequence[ClockBreak] = ()
    unordered: Sequence[tuple[int, str]] = ()
    coarse: Sequence[tuple[str, str, datetime, datetime, int]] = ()

    def put(self, desk: Desk) -> None:
        """Tables ``order_breaks`` (a row per step back), ``unordered`` (source, receiver) and ``coarse_lines``."""
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
        names = ("receiver", "line", "from_utc", "until_utc", "resolution_s")
        types = (_TEXT, _TEXT, _TIME, _TIME, pa.int64())
        columns = {n: pa.array([row[i] for row in self.coarse], types[i]) for i, n in enumerate(names)}
        desk.put("coarse_lines", pa.table(columns))

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
        return [*steps, *([*pair] for pair in self.unordered), *([str(cell) for cell in row] for row in self.coarse)]


def known_at(store: Store, as_of_utc: datetime | None = None) -> Clocks:
    """What the store tells of the clocks, nothing of it later than ``as_of_utc`` (None: all)."""
    coarse = {s.source_id: s.resolution_s for s in store.catalog.sources() if s.resolution_s > 1}
    lines = [
        (line.receiver, line.line, line.first_utc, line.last_utc, coarse[line.source_id])
        for line in store.catalog.source_lines()
        if line.source_id in coarse and line.first_utc and line.last_utc
    ]
    breaks, unordered = clock_breaks.judged(clock_breaks.read(store.catalog), as_of_utc)
    return Clocks(breaks, unordered, sorted(row for row in lines if as_of_utc is None or row[2] < as_of_utc))


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


def too_coarse(desk: Desk, rows: pa.Table, finest: Mapping[str, float]) -> pa.Table:
    """Verdict rows, not judged where the account's log is coarser than the row or its check needs.

    finest: by check id [s], 0 = any; a row's own ``finest_s`` comes first. Reads ``kept_resolution``
    (queries/measures/26_resolution), for all checks alike.
    """
    log = dict(desk.rows("select account_key, resolution_s from kept_resolution"))
    if not log:
        return rows
    verdicts, reasons = rows["verdict"].to_pylist(), rows["reason"].to_pylist()
    named = ("account_key", "check_id", "finest_s")
    for i, (account, check, own) in enumerate(zip(*(rows[name].to_pylist() for name in named), strict=True)):
        needed = own or finest.get(check, 0.0)
        if verdicts[i] != "not_judged" and needed and log.get(account, 1) > needed:
            verdicts[i], reasons[i] = "not_judged", MINUTES_ONLY
    for name, values in (("verdict", verdicts), ("reason", reasons)):
        rows = rows.set_column(rows.column_names.index(name), name, pa.array(values, _TEXT))
    return rows


def _meet(from_utc: datetime, until_utc: datetime, begin: datetime | None, end: datetime | None) -> bool:
    return (begin is None or until_utc >= begin) and (end is None or from_utc <= end)
