"""Load of the receiver lines: Erlang's formula against published figures, the busy hour against a made log."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest

from sigaudit.judging.line_load import Load, _load, erlang_b, offered, sentences

# Two to four lines with their most dialers: the hunt-group table of NFPA 72 (from memory). Blocking at one test
# a day and at one in six hours, 30 s a call: worked out from the formula in the notes on published figures.
HUNT_GROUPS = [
    (2, 500, 0.174, 0.013, 0.694, 0.125),
    (3, 1500, 0.521, 0.014, 2.083, 0.223),
    (4, 3000, 1.042, 0.017, 4.167, 0.327),
]


@pytest.mark.parametrize(("lines", "dialers", "a_day", "busy_day", "a_six", "busy_six"), HUNT_GROUPS)
def test_hunt_groups(lines: int, dialers: int, a_day: float, busy_day: float, a_six: float, busy_six: float) -> None:
    for per_day, load, busy in ((1, a_day, busy_day), (4, a_six, busy_six)):
        erlangs = offered(dialers * per_day, 86400, 30)
        assert erlangs == pytest.approx(load, abs=6e-4)
        assert erlang_b(lines, erlangs) == pytest.approx(busy, abs=6e-4)


@pytest.mark.parametrize(
    # Erlang B tables as printed in traffic engineering books (from memory): load at which so many calls are lost.
    ("circuits", "erlangs", "unit", "lost"),
    [(1, 0.0101, 0.0001, 0.01), (2, 0.153, 0.001, 0.01), (5, 1.36, 0.01, 0.01), (10, 4.46, 0.01, 0.01),
     (20, 12.0, 0.1, 0.01), (10, 5.08, 0.01, 0.02), (5, 2.88, 0.01, 0.1)],
)  # fmt: skip
def test_table_of_erlang_b(circuits: int, erlangs: float, unit: float, lost: float) -> None:
    """The load that loses so many lies within half a unit of the last printed digit."""
    assert erlang_b(circuits, erlangs - unit / 2) <= lost <= erlang_b(circuits, erlangs + unit / 2)


def test_recursion_is_the_sum() -> None:
    """B = (a^n / n!) / sum of a^k / k!: the formula in closed form."""
    for circuits in (1, 3, 8):
        for a in (0.2, 1.0, 6.5):
            whole = sum(a**k / math.factorial(k) for k in range(circuits + 1))
            assert erlang_b(circuits, a) == pytest.approx(a**circuits / math.factorial(circuits) / whole)
    assert erlang_b(0, 1.0) == 1.0 and erlang_b(3, 0.0) == 0.0
    with pytest.raises(ValueError, match="at least zero"):
        erlang_b(2, -1.0)


def load(calls: list[int], **tests: int) -> Load:
    hours = [{"utc_hour": datetime(2026, 11, 16, h), "n": n} for h, n in enumerate(calls)]
    return _load(("1", "2"), hours, dict(tests), "phone", len(calls), 30.0, 2)


def test_busy_hour() -> None:
    """Four hours with 10, 60, 5 and 60 calls: the first of the fullest; 60 calls of 30 s in an hour are 0.5 erlang."""
    found = load([10, 60, 5, 60], n_tests=27, n_testers=20, minute_no=0, n_there=3, n_daily=80)
    assert (found.busy_utc.hour, found.busy_calls, found.calls, found.calls_per_hour) == (1, 60, 135, 33.75)
    assert found.busy_erlangs == 0.5
    assert found.busy_blocked == pytest.approx(0.5**2 / 2 / (1 + 0.5 + 0.125))
    assert found.test_share == pytest.approx(0.2)
    # Eighty daily tests become four a day: 240 more, ten more in any hour.
    assert found.six_hour_calls == 70
    assert found.six_hour_blocked > found.busy_blocked


def test_bunched_on_the_hour() -> None:
    """Of 60 numbers one is expected in each minute: three there is chance, thirty is not."""
    assert not load([60], n_tests=60, n_testers=60, minute_no=0, n_there=3).bunched
    assert load([60], n_tests=60, n_testers=60, minute_no=0, n_there=30).bunched


def test_words() -> None:
    one = load([60], n_tests=60, n_testers=60, minute_no=0, n_there=30, n_daily=40)
    said = sentences([one], lambda at: f"{at.replace(tzinfo=UTC):%H:%M}", 30.0, 2)
    assert said[0].startswith("Reckoned with 30 s a call and 2 circuits a line")
    assert "busiest hour 00:00 with 60 calls, 0.50 erlangs" in said[1]
    assert "30 of 60 numbers test in minute 0" in said[2] and "40 of its numbers test once a day" in said[3]
