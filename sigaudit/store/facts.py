"""Stored facts: built from signals month by month, current by fingerprint, cut at ``as_of``.

A fact depends on the signals of one account and one UTC day only, so a month's facts hold as long as
its signals, the SQL and the code table are the same; that is the fingerprint in their file names.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from datetime import datetime, time, timedelta
from itertools import pairwise
from pathlib import Path

from sigaudit.store import code_table
from sigaudit.store.catalog import LiveFile
from sigaudit.store.engine_duckdb import Connection, connect, copy_to_parquet, literal, read_parquet, rows
from sigaudit.store.opening import Store
from sigaudit.store.progress import Progress, over, silent
from sigaudit.store.relations import signals_relation
from sigaudit.store.shipped import query

# Facts of accounts are built range by range; those of the station see a whole month at once.
ACCOUNT_FACTS = ("fact_day", "fact_test", "fact_check_in", "fact_edge", "fact_clock", "fact_stated", "fact_burst")
STATION_FACTS = ("fact_minute", "fact_receiver")
FACTS = (*ACCOUNT_FACTS, *STATION_FACTS)

# Only the recent past is needed one by one; the others carry what an account ever did.
_RECENT = ("fact_test", "fact_check_in", "fact_minute", "fact_clock", "fact_stated", "fact_burst")
_TIME_OF = {"fact_day": "last_utc", "fact_minute": "last_utc", "fact_clock": "utc_day", "fact_burst": "last_utc"}
# The few signals that state a time of their own stand apart: no window has to carry that text.
PANEL_TIMES = "select source_id, line_no, part, panel_time from {signals} where panel_time <> ''"
_RANGE_ROWS = 3_000_000


def fingerprint(store: Store, month: str) -> str:
    """What the facts of a month depend on: its signal files, the SQL and the code table."""
    content = hashlib.sha256(store.fingerprint("signals", [month]).encode())
    for name in ("events/events", *(f"facts/{fact}" for fact in FACTS)):
        content.update(query(name).encode("utf-8"))
    content.update(code_table.fingerprint().encode())
    return content.hexdigest()[:12]


def stale(store: Store) -> list[str]:
    """Months whose facts are missing or no longer hold."""
    return [
        month
        for month in store.months("signals")
        if not store.files("facts", month, f"fact_minute.{fingerprint(store, month)}")
    ]


def build(store: Store, *, memory_limit: str, progress: Progress = silent, months: Sequence[str] | None = None) -> int:
    """Brings the facts of all months (or of some) up to date; answers how many months were built.

    A month is committed by itself: an interrupted build goes on where it stopped. Raises StoreBusy.
    """
    waiting = stale(store) if months is None else list(months)
    if not waiting:
        return 0
    with store.writing("building facts"), store.scratch() as temp:
        for month in over(progress, waiting, "building facts"):
            tag = fingerprint(store, month)
            with connect(memory_limit=memory_limit, temp_dir=temp) as con:
                files = _month(store, con, month, tag)
            store.commit(add=files, drop=store.files("facts", month))
    return len(waiting)


def cut(store: Store, con: Connection, from_utc: datetime, as_of_utc: datetime, history_from_utc: datetime) -> None:
    """Views ``all_<fact>`` on a connection, holding nothing received at or after ``as_of_utc``.

    Whole days come from the stored facts; the day of ``as_of`` is worked out from its signals, and the day of
    ``from_utc`` is told in two halves. Views
    ``signals`` and table ``codes`` are made too. Facts must be up to date.
    """
    month = f"{as_of_utc:%Y-%m}"
    day = datetime.combine(as_of_utc.date(), time())
    code_table.load(con)
    con.execute(
        f"create or replace temp view signals as select * from ({signals_relation(store)})"
        f" where received_utc < timestamp '{as_of_utc}'"
    )
    _broken_day(store, con, "live", day, as_of_utc)
    for fact in FACTS:
        live = _over(query(f"facts/{fact}"), "live_events")
        con.execute(f"create or replace temp table live_{fact} as {live}")
    # The day on which the window begins is told in two halves, so that no row lies across its edge.
    first_day = datetime.combine(from_utc.date(), time())
    halves = [(first_day, from_utc), (from_utc, min(first_day + timedelta(days=1), as_of_utc))]
    halves = [] if first_day in (from_utc, day) else halves
    for number, (low, high) in enumerate(halves):
        _broken_day(store, con, f"half{number}", low, high)
        con.execute(f"insert into live_fact_day {_over(query('facts/fact_day'), f'half{number}_events')}")
    split = f" and utc_day <> date '{first_day:%Y-%m-%d}'" if halves else ""
    for fact in FACTS:
        first = f"{history_from_utc:%Y-%m}" if fact in _RECENT else ""
        files = [
            store.root / file.path
            for file in store.files("facts")
            if file.tag.startswith(f"{fact}.") and first <= file.month <= month
        ]
        stored = ""
        if files:
            at = _TIME_OF.get(fact, "received_utc")
            since = f" and {at} >= timestamp '{history_from_utc}'" if fact in _RECENT else ""
            since += split if fact == "fact_day" else ""
            stored = f"select * from {read_parquet(files)} where {at} < timestamp '{day}'{since} union all "
        con.execute(f"create or replace temp view all_{fact} as {stored}select * from live_{fact}")


def nothing_of(store: Store, fact: str) -> str:
    """A fact's columns without a row, as a select over the code tables."""
    sql = query(f"facts/{fact}")
    none = f"with signals as ({signals_relation(store, [])}), events as (select * from ({query('events/events')}))"
    times = f", panel_times as ({PANEL_TIMES.format(signals='signals')})" if "panel_times" in sql else ""
    return f"{none}{times} select * from ({sql})"


def _broken_day(store: Store, con: Connection, name: str, from_utc: datetime, until_utc: datetime) -> None:
    """Table ``<name>_events``: the signals of part of a day, folded and classed as any other day's."""
    con.execute(
        f"create or replace temp table {name}_signals as"
        f" select * exclude (raw, text, called, caller)"
        f" from ({signals_relation(store, [f'{from_utc:%Y-%m}'])})"
        f" where received_utc >= timestamp '{from_utc}' and received_utc < timestamp '{until_utc}'"
    )
    con.execute(f"create or replace temp table {name}_events as {_reading(f'{name}_signals')}")
    con.execute(f"create or replace temp table {name}_events_times as {PANEL_TIMES.format(signals=f'{name}_signals')}")


def _month(store: Store, con: Connection, month: str, tag: str) -> list[LiveFile]:
    relation = signals_relation(store, [month])
    code_table.load(con)
    found: list[LiveFile | None] = []
    for low, high in _ranges(con, relation):
        inside = f"account_key >= {literal(low)} and account_key < {literal(high)}"
        con.execute(
            "create or replace temp table range_signals as"
            f" select * exclude (raw, text, called, caller, panel_time, received_wall) from ({relation})"
            f" where {inside}"
        )
        con.execute(f"create or replace temp table range_events as {_reading('range_signals')}")
        times = PANEL_TIMES.format(signals=f"({relation})")
        con.execute(f"create or replace temp table range_events_times as {times} and {inside}")
        for fact in ACCOUNT_FACTS:
            found.append(_place(store, con, fact, month, tag, "range_events"))
    con.execute("drop table if exists range_events")
    con.execute("drop table if exists range_events_times")
    con.execute(f"create or replace temp view minute_events as select receiver, line, received_utc from ({relation})")
    found.append(_place(store, con, "fact_minute", month, tag, "minute_events"))
    con.execute(f"create or replace temp table range_signals as select * from ({relation}) where origin = 'receiver'")
    con.execute(f"create or replace temp table own_events as {_reading('range_signals')}")
    found.append(_place(store, con, "fact_receiver", month, tag, "own_events"))
    return [file for file in found if file is not None]


def _place(store: Store, con: Connection, fact: str, month: str, tag: str, events: str) -> LiveFile | None:
    def write(path: Path) -> None:
        copy_to_parquet(con, _over(query(f"facts/{fact}"), events), path)

    return store.place("facts", write, month=month, tag=f"{fact}.{tag}")


def _reading(signals: str) -> str:
    """The events query over another table of signals."""
    return f"with signals as (select * from {signals}) select * from ({query('events/events')})"


def _over(sql: str, events: str) -> str:
    """A fact's query over another table of events."""
    times = f", panel_times as (select * from {events}_times)" if "panel_times" in sql else ""
    return f"with events as (select * from {events}){times} select * from ({sql})"


def _ranges(con: Connection, relation: str) -> Iterable[tuple[str, str]]:
    """Account-key ranges of about ``_RANGE_ROWS`` signals each."""
    total = rows(con, f"select count(*) from ({relation})")[0][0]
    parts = max(1, -(-int(total) // _RANGE_ROWS))
    if parts == 1:
        return [("", "\uffff")]
    found = rows(
        con,
        "select min(account_key) from (select account_key, ntile($parts) over (order by account_key) as part"
        f" from (select account_key from ({relation}))) group by part order by part",
        {"parts": parts},
    )
    edges = sorted({"", *(row[0] for row in found[1:]), "\uffff"})
    return list(pairwise(edges))
