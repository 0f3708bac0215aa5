"""Finds where one receiver's time steps back inside a source: its clock was set, or was wrong.

Lines are never sorted again. A step counts from more than five minutes on, as at the clock change
(``clock.STEP_BACK``): queues and slow printers account for less. Nothing is read into the hour that a clock
change repeats, nor into an hour that it skips. A receiver whose lines never lie that far under the latest
before them has none. Else a file written newest first is judged in its own direction: that of most steps in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sigaudit.reading.clock import STEP_BACK
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.clock_breaks import MOST, ClockBreak, judged, step_words

__all__ = ["find", "notes"]

_STEP_S = int(STEP_BACK.total_seconds())
# A time in a repeated or a skipped hour may be off by that hour.
_DOUBT_S = 3600
_MOST_TOLD = 5


def find(con: engine.Connection, lineage: str, source_id: int) -> list[ClockBreak]:
    """Breaks of one source, at most ``MOST`` + 1 of each receiver, in the direction of the file.

    ``lineage``: a relation of the source's lineage rows.
    """
    if _runs_forward(con, lineage):
        return []
    found = engine.rows(
        con,
        f"""
with placed as (
    select line_no, receiver, received_utc, pass = 3 as untold, pass = 3 or time_doubt = 'gap' as doubtful,
        lag(line_no) over w as other_no, lag(received_utc) over w as other_utc, lag(pass) over w = 3 as other_untold,
        lag(pass) over w = 3 or lag(time_doubt) over w = 'gap' as other_doubtful,
        row_number() over w as place, count(*) over (partition by receiver) as n,
        max(received_utc) over (
            partition by receiver order by line_no rows between unbounded preceding and current row) as top_utc
    from {lineage}
    window w as (partition by receiver order by line_no)
),
calm as (
    select receiver from placed group by receiver
    having max(epoch(top_utc) - epoch(received_utc)) <= {_STEP_S}
),
runs as (
    select count(*) filter (where received_utc >= other_utc) >= count(*) filter (where received_utc < other_utc)
        or count(other_utc) = 0 as forward
    from placed where received_utc <> other_utc
),
pairs as (
    select receiver,
        case when forward then other_utc else received_utc end as before_utc,
        case when forward then received_utc else other_utc end as after_utc,
        case when forward then line_no else other_no end as line_no,
        case when forward then place else n - place + 2 end as lines,
        {_STEP_S} + case when doubtful <> other_doubtful or (doubtful and untold <> other_untold)
            then {_DOUBT_S} else 0 end as allowed_s
    from placed cross join runs
    where other_utc is not null and not (untold and other_untold) and receiver not in (select receiver from calm)
)
select receiver, line_no, before_utc, after_utc, lines from pairs
where epoch(before_utc) - epoch(after_utc) > allowed_s
qualify row_number() over (partition by receiver order by lines) <= {MOST + 1}
order by receiver, lines""",
    )
    return [ClockBreak(source_id, receiver, line, a, b, lines) for receiver, line, a, b, lines in found]


def _runs_forward(con: engine.Connection, lineage: str) -> bool:
    """Whether no line lies a step under the latest before it, whoever wrote it: then that holds of each receiver.

    One pass without sorting, eight times faster than to look; it holds only if the lines come in their order.
    """
    unordered, lower = engine.rows(
        con,
        f"""
select count(*) filter (where line_no <= other_no),
    count(*) filter (where received_utc < top_utc - interval '{_STEP_S} seconds')
from (
    select line_no, received_utc, lag(line_no) over () as other_no,
        max(received_utc) over (rows between unbounded preceding and current row) as top_utc
    from {lineage}
)""",
    )[0]
    return not unordered and not lower


def notes(breaks: Sequence[ClockBreak], first_line: int) -> tuple[str, ...]:
    """What an ingest says of the breaks at lines from ``first_line`` on."""
    marks, unordered = judged(breaks)
    fresh = [one for one in marks if one.line_no >= first_line]
    told = [
        f"line {one.line_no}: the clock of receiver {one.receiver!r} steps back {step_words(one.step_s)},"
        f" from {_at(one.before_utc)} to {_at(one.after_utc)} UTC; times between are in doubt"
        for one in fresh[:_MOST_TOLD]
    ]
    if len(fresh) > _MOST_TOLD:
        told.append(f"{len(fresh) - _MOST_TOLD} more steps back; see: sigaudit status")
    told += [f"receiver {receiver!r}: not in order of time; its clock is not judged by it" for _, receiver in unordered]
    return tuple(told)


def _at(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M:%S}"
