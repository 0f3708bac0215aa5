"""Tests by day and local time of day, and silences between check-ins, as charts.

Times of day are worked out here by zoneinfo from the instants, apart from the page's own clock.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

from sigaudit.reporting.page import Clock
from sigaudit.reporting.raster import check_in_gaps, raster_of_tests

ZONE = "America/New_York"
CLOCK = Clock(ZONE)


def came(at: datetime, **more: Any) -> dict[str, Any]:
    row = {"received_utc": at, "test_kind": "periodic", "qualifier": "E", "is_resend": False, "origin": "panel",
           "path": "phone"}  # fmt: skip
    return row | more


def due(at: datetime, state: str) -> dict[str, Any]:
    return {"due_utc": at, "state": state, "path": "phone"}


def test_a_wall_clock_timer_is_a_level_line_over_the_change_of_clocks() -> None:
    # 02:10 local on each day around 2026-11-01, when New York's clocks go back.
    local = [datetime(2026, 10, 28, 14, 10, tzinfo=ZoneInfo(ZONE)) + timedelta(days=i) for i in range(8)]
    times = [at.astimezone(UTC).replace(tzinfo=None) for at in local]
    assert len({(b - a) for a, b in pairwise(times)}) == 2  # 24 h and once 25 h
    drawn = raster_of_tests([came(at) for at in times], [], CLOCK)
    trace = drawn.figure["data"][0]
    assert list(trace["y"]) == [14 * 60 + 10] * 8
    assert list(trace["x"]) == [f"{at:%Y-%m-%d}" for at in local]
    assert drawn.title == "8 tests came, usually every 24 h"


def test_what_did_not_come_is_marked_by_form_too() -> None:
    at = datetime(2026, 11, 10, 7, 0)
    drawn = raster_of_tests([came(at)], [due(at + timedelta(days=1), "missed"), due(at, "excused")], CLOCK)
    symbols = [trace["marker"]["symbol"] for trace in drawn.figure["data"]]
    assert len(set(symbols)) == 3
    assert drawn.title.endswith("1 due one did not")


def test_resends_restores_and_other_signals_are_no_tests() -> None:
    at = datetime(2026, 11, 10, 7, 0)
    rows = [came(at, is_resend=True), came(at, qualifier="R"), came(at, test_kind="manual"), came(at, test_kind="")]
    assert raster_of_tests(rows, [], CLOCK).empty


def test_hostile_names_stay_text() -> None:
    drawn = raster_of_tests([came(datetime(2026, 11, 10, 7), path='<a href="http://x.invalid">x</a>')], [], CLOCK)
    assert "<a" not in str(drawn.figure)


def test_gaps_are_drawn_beside_what_the_roster_allows() -> None:
    days = [{"local_day": date(2026, 11, 10 + i), "path": "2/1", "n": 50, "max_gap_s": 1500.0} for i in range(3)]
    days.append({"local_day": date(2026, 11, 13), "path": "2/1", "n": 44, "max_gap_s": 7260.0})
    ways = [{"receiver": "2", "line": "1", "path": "internet", "supervision_s": 3600.0}]
    drawn = check_in_gaps(days, ways, CLOCK)
    assert drawn is not None
    assert (
        drawn.title == "Longest silence between check-ins: 121 min on Fri 13 Nov; the roster allows 60 min on internet"
    )
    assert list(drawn.figure["data"][0]["y"]) == [25.0, 25.0, 25.0, 121.0]
    assert drawn.figure["layout"]["shapes"][0]["y0"] == 60
    assert check_in_gaps([], ways, CLOCK) is None
