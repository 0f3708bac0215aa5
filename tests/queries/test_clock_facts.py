"""The sender's time beside the receiver's: what is read, and how a receiver and an account stand by it.

Form of a DC-09 timestamp: HH:MM:SS,MM-DD-YYYY in UTC (SIA DC-09, as in its examples); ISO 8601 for the others.
The numbers are worked by hand; 20 accounts and four weeks are house rules.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pyarrow as pa
import pytest

from sigaudit.judging.desk import Desk, Window
from sigaudit.store import calendar, engine_duckdb
from sigaudit.store.shipped import query
from tests.queries.made_signals import events, signal

CLOCK = f"with events as (from e) select * from ({query('facts/fact_clock')})"
AS_OF = datetime(2026, 11, 23, 5)


@pytest.mark.parametrize(
    ("told", "stated", "offset_s"),
    [
        ("11:59:23,11-17-2026", "utc", 37.0),
        ("12:00:05,11-17-2026", "utc", -5.0),
        ("2026-11-17T11:59:30Z", "utc", 30.0),
        ("2026-11-17 06:59:30-05:00", "utc", 30.0),
        ("2026-11-17T17:29:30+05:30", "utc", 30.0),
        # New York is five hours behind: the zone's offset is added where the zone is known.
        ("2026-11-17T06:59:30", "local", 5 * 3600 + 30.0),
    ],
)
def test_a_stated_time_is_read(told: str, stated: str, offset_s: float) -> None:
    (row,) = events([signal(0, "E602", panel_time=told)], CLOCK)
    assert (row["stated"], row["offset_s"], row["n"]) == (stated, offset_s, 1)
    assert (row["account_key"], row["utc_day"], row["receiver"]) == ("main/1234", date(2026, 11, 17), "1")


@pytest.mark.parametrize("told", ["", "12:00", "17.11.2026 12:00:00", "25:61:00,13-41-2026", "2026-13-41T12:00:00Z"])
def test_what_is_no_such_time_is_left_out(told: str) -> None:
    assert events([signal(0, "E602", panel_time=told)], CLOCK) == []


def test_resends_and_doubtful_times_are_left_out_and_one_wild_time_changes_little() -> None:
    rows = [signal(600 * i, "E602", panel_time=f"12:{10 * i:02d}:00,11-17-2026") for i in range(5)]
    rows += [
        signal(2410, "E602", panel_time="00:00:00,01-01-2000"),  # sent again 10 s after the last of them
        signal(3000, "E602", panel_time="00:00:00,01-01-2000", time_doubt="fold"),
        signal(3600, "E602", panel_time="00:00:00,01-01-2000"),
    ]
    (row,) = events(rows, CLOCK)
    assert (row["n"], row["offset_s"]) == (6, 0.0)


def desk(rows: list[tuple[str, date, str, str, float]]) -> Desk:
    """A desk with clock facts (account, day, receiver, stated, offset), an owner for each number and a calendar."""
    made = Desk(engine_duckdb.connect(threads=1), Window(AS_OF - timedelta(days=7), AS_OF, AS_OF))
    names = ("account_key", "utc_day", "receiver", "stated", "offset_s")
    types = (pa.string(), pa.date32(), pa.string(), pa.string(), pa.float64())
    columns = {n: pa.array([row[i] for row in rows], types[i]) for i, n in enumerate(names)}
    made.put("fact_clock", pa.table({**columns, "n": pa.array([1] * len(rows), pa.int64())}))
    made.make("heard_as", "select distinct account_key as heard_key, account_key, receiver from fact_clock")
    made.put("calendar", calendar.table(ZoneInfo("America/New_York"), datetime(2026, 10, 1), AS_OF))
    made.make_query("measures/03_clock_offsets")
    return made


def test_a_receiver_is_judged_by_the_median_of_twenty_accounts() -> None:
    day = date(2026, 11, 17)
    # Nineteen 35 to 39 s, one a day off: the median is 37 s, the median distance from it 1 s.
    rows = [(f"main/{i}", day, "2", "utc", float(35 + i % 5)) for i in range(19)]
    rows += [("main/99", day, "2", "utc", 86400.0), *((f"main/{i}", day, "1", "utc", 9.0) for i in range(19))]
    (found,) = desk(rows).run("select * from clock_offsets").to_pylist()
    assert found == {"receiver": "2", "offset_s": 37.0, "n_accounts": 20, "spread_s": 1.0}


def test_only_four_weeks_and_only_sending_times_in_utc_tell_of_a_receiver() -> None:
    old, day = date(2026, 10, 1), date(2026, 11, 17)
    rows = [(f"main/{i}", old, "1", "utc", 500.0) for i in range(30)]
    rows += [(f"main/{i}", day, "1", "local", 18000.0) for i in range(30)]
    assert desk(rows).run("select * from clock_offsets").to_pylist() == []


def test_an_account_is_told_beside_its_receiver() -> None:
    days = [date(2026, 11, day) for day in range(10, 15)]
    rows = [(f"main/{i}", day, "1", "utc", 4.0) for i in range(20) for day in days]
    # An hour behind in UTC; another states New York time, rightly but for 6 s.
    rows += [("main/slow", day, "1", "utc", 3600.0 + i) for i, day in enumerate(days)]
    rows += [("main/wall", day, "1", "local", 18006.0) for day in days]
    made = desk(rows)
    made.make_query("measures/25_panel_clock")
    found = {row["account_key"]: row for row in made.run("select * from panel_clock").to_pylist()}
    slow, wall = found["main/slow"], found["main/wall"]
    assert (slow["offset_s"], slow["spread_s"], slow["n"], slow["n_days"]) == (3602.0, 1.0, 5, 5)
    assert (wall["offset_s"], wall["receiver_offset_s"]) == (6.0, 4.0)
