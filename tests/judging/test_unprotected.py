"""Marks of accounts without a proven path: 8 h at one stretch, 4 h in 24 (cautions C09, C10 name their sources)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest

from sigaudit.judging import tables
from tests.judging.small_desk import WEEK, healthy, judged
from tests.simulation.clock import HOUR
from tests.simulation.site import Signal, Site

AS_OF = WEEK[1]
Station = tuple[list[Site], list[Signal], str]


@pytest.fixture(scope="module")
def station() -> Station:
    """A sound station, and in it a life-safety account with one path, which checks in."""
    sites, signals = healthy(5, step=6)
    checks_in = {signal.account for signal in signals if signal.form == "check_in"}
    fire = [s for s in sites if s.system_type in ("fire", "medical", "holdup", "combined")]
    return sites, signals, next(s.account for s in fire if len(s.paths) == 1 and s.account in checks_in)


def row(station: Station, silent: Iterable[tuple[float, float]]) -> dict[str, Any]:
    """What is said of the account when it is not heard in these spans [h before ``as_of``]."""
    sites, signals, account = station
    spans = [(AS_OF - a * HOUR, AS_OF - b * HOUR) for a, b in silent]
    heard = [s for s in signals if s.account != account or not any(a < s.at <= b for a, b in spans)]
    _, desk = judged(sites, heard, ["never_heard"])
    found = [r for r in tables.unprotected(desk).to_pylist() if r["account"] == account]
    return found[0] if found else {"mark": None}


def test_a_sound_account_is_not_listed(station: Station) -> None:
    assert row(station, [])["mark"] is None


@pytest.mark.parametrize(
    ("silent", "mark"),
    [
        ([(2.5, 0)], ""),
        ([(5, 0)], "4 h"),
        ([(9, 0)], "8 h"),
        ([(20, 17.5), (2.5, 0)], "4 h"),  # five hours in the last 24
        ([(40, 37.5), (2.5, 0)], ""),  # the first silence is over for more than a day
        ([(20, 14), (2.5, 0)], "4 h"),  # eight hours in all, not at one stretch
    ],
)
def test_marks_go_by_the_stretch_and_by_the_last_day(
    station: Station, silent: list[tuple[float, float]], mark: str
) -> None:
    found = row(station, silent)
    assert found["mark"] == mark
    assert found["hours"] == pytest.approx(silent[-1][0], abs=1.1)
