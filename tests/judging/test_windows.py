"""ISO weeks in the station's zone. Checked against ISO 8601 dates as Python's calendar gives them, and zoneinfo."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from sigaudit.errors import UsageProblem
from sigaudit.judging import windows

ZONE = ZoneInfo("America/New_York")
FIRST = datetime(2026, 10, 1)


def test_a_week_with_the_clock_change_has_169_hours() -> None:
    window = windows.week("2026-W44", ZONE, FIRST, datetime(2026, 12, 1))
    assert window.from_utc == datetime(2026, 10, 26, 4) and window.until_utc == datetime(2026, 11, 2, 5)
    assert window.until_utc - window.from_utc == timedelta(hours=169)
    assert window.as_of_utc == window.until_utc


def test_as_of_is_the_end_of_the_log_when_the_log_ends_early() -> None:
    window = windows.week("2026-W44", ZONE, FIRST, datetime(2026, 10, 29, 12, 30, 15))
    assert window.as_of_utc == datetime(2026, 10, 29, 12, 31)
    assert windows.week("2026-W44", ZONE, FIRST, datetime(2026, 11, 2, 4, 30)).as_of_utc == window.until_utc


def test_the_last_whole_week_needs_its_last_hour() -> None:
    assert windows.last_whole_week(ZONE, FIRST, datetime(2026, 11, 2, 4, 59)) == "2026-W44"
    assert windows.last_whole_week(ZONE, FIRST, datetime(2026, 11, 2, 3, 30)) == "2026-W43"


def test_weeks_before_cross_the_year() -> None:
    assert windows.before("2026-W02", 3) == ["2026-W01", "2025-W52", "2025-W51"]
    assert windows.before("2027-W01", 1) == ["2026-W53"]


@pytest.mark.parametrize("label", ["2026-W60", "2026-47", "next", "2025-W53", ""])
def test_what_is_no_week_is_refused(label: str) -> None:
    with pytest.raises(UsageProblem, match="no ISO week"):
        windows.week(label, ZONE, FIRST, datetime(2026, 12, 1))


def test_a_week_after_the_log_is_refused() -> None:
    with pytest.raises(UsageProblem, match="ends before it"):
        windows.week("2026-W50", ZONE, FIRST, datetime(2026, 12, 1))


def test_a_week_before_the_log_is_refused() -> None:
    with pytest.raises(UsageProblem, match="begins after it"):
        windows.week("2026-W30", ZONE, FIRST, datetime(2026, 12, 1))


def test_a_log_of_a_few_days_is_judged_in_the_week_it_begins_in() -> None:
    assert windows.last_whole_week(ZONE, datetime(2026, 11, 18), datetime(2026, 11, 20)) == "2026-W47"


def test_a_month_is_the_local_calendar_month_through_the_clock_change() -> None:
    """Vienna: UTC+2 on 1 October 2026, UTC+1 on 1 November (tz database): 745 hours."""
    zone = ZoneInfo("Europe/Vienna")
    found = windows.month("2026-10", zone, datetime(2026, 1, 1), datetime(2027, 1, 1))
    assert (found.from_utc, found.until_utc) == (datetime(2026, 9, 30, 22), datetime(2026, 10, 31, 23))
    days = windows.days_of(found, zone)
    assert [day.day for day, _, _ in days] == list(range(1, 32))
    assert [(b - a).total_seconds() / 3600 for _, a, b in days] == [24.0] * 24 + [25.0] + [24.0] * 6
    assert all(days[n][2] == days[n + 1][1] for n in range(30))
    last = windows.last_days(found, zone)
    assert (last.from_utc, last.until_utc) == (datetime(2026, 10, 24, 22), found.until_utc)


def test_a_month_that_the_log_does_not_finish_speaks_up_to_its_last_signal() -> None:
    zone = ZoneInfo("America/New_York")
    found = windows.month("2026-11", zone, datetime(2026, 10, 12), datetime(2026, 11, 23, 4, 58, 10))
    assert found.as_of_utc == datetime(2026, 11, 23, 4, 59)
    assert windows.last_days(found, zone).from_utc == datetime(2026, 11, 16, 5)
    assert windows.last_whole_month(zone, datetime(2026, 10, 12), datetime(2026, 11, 23)) == "2026-10"
    assert windows.last_whole_month(zone, datetime(2026, 11, 12), datetime(2026, 11, 23)) == "2026-11"
    assert windows.month_before("2026-01") == "2025-12" and windows.month_before("2026-10", 12) == "2025-10"


@pytest.mark.parametrize("label", ["2026-13", "2026-1", "26-10", "2026-10-01", "october", "0001-01", ""])
def test_what_is_no_month_is_said(label: str) -> None:
    with pytest.raises(UsageProblem, match="is no month"):
        windows.month(label, ZoneInfo("UTC"), datetime(2026, 1, 1), datetime(2027, 1, 1))


def test_a_month_outside_the_log_is_refused() -> None:
    for label in ("2025-12", "2027-02"):
        with pytest.raises(UsageProblem, match="the log held runs from 2026-01-01 to 2027-01-01"):
            windows.month(label, ZoneInfo("UTC"), datetime(2026, 1, 1), datetime(2027, 1, 1))
