"""Alarms that state when they were sent, beside the least difference of their day.

Form of a DC-09 timestamp: HH:MM:SS,MM-DD-YYYY in UTC (SIA DC-09, as in its examples). Numbers worked by hand.
"""

from __future__ import annotations

import pytest

from sigaudit.store.shipped import query
from tests.queries.made_signals import events, signal

STATED = f"with events as (from e) select * from ({query('facts/fact_stated')})"


def test_an_alarm_stands_beside_the_least_difference_of_its_day() -> None:
    rows = [
        signal(0, "E602", zone="000", panel_time="11:59:50,11-17-2026"),  # 10 s
        signal(600, "E131", panel_time="12:06:00,11-17-2026"),  # received 12:10:00, 240 s
        signal(1200, "R131", panel_time="12:20:00,11-17-2026"),  # a restore is timed but no alarm
    ]
    (row,) = events(rows, STATED)
    assert (row["code"], row["offset_s"], row["day_low_s"], row["n_day"]) == ("131", 240.0, 0.0, 3)


@pytest.mark.parametrize("event", ["E301", "E602", "E401", "R110"])
def test_what_is_no_alarm_has_no_row(event: str) -> None:
    assert events([signal(0, event, panel_time="11:59:50,11-17-2026")], STATED) == []


def test_resends_other_receivers_and_unread_times_do_not_mix() -> None:
    rows = [
        signal(0, "E111", panel_time="11:58:00,11-17-2026"),
        signal(20, "E111", panel_time="11:58:00,11-17-2026"),  # sent again within a minute
        signal(900, "E203", receiver="2", zone="002", panel_time="12:15:00,11-17-2026"),
        signal(1800, "E114", zone="003", panel_time="half past twelve"),
    ]
    found = events(rows, STATED)
    assert [(r["code"], r["receiver"], r["offset_s"], r["day_low_s"]) for r in found] == [
        ("111", "1", 120.0, 120.0),
        ("203", "2", 0.0, 0.0),
    ]
