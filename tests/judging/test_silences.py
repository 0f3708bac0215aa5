"""Silences of a receiver line: found when they are improbable, left alone when the clock explains them.

Checked against the closed form P(0) = exp(-expected) of a Poisson stream (textbook result) and against
simulated streams whose outage is known.
"""

from __future__ import annotations

import math
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sigaudit.judging.silences import IMPROBABLE, Series, find, together, usual_gap

ZONE = ZoneInfo("America/New_York")
DAY = 86400.0
START = 1790000000.0 - 1790000000.0 % DAY


def series(times: np.ndarray) -> Series:
    minutes = np.floor(times / 60.0)
    starts = np.flatnonzero(np.append(True, minutes[1:] != minutes[:-1]))
    ends = np.append(starts[1:], len(times)) - 1
    return Series(times[starts], times[ends], np.diff(np.append(starts, len(times))).astype(np.int64))


def stream(rate_per_h: float, weeks: int, seed: int) -> np.ndarray:
    random = np.random.default_rng(seed)
    n = random.poisson(rate_per_h * 24 * 7 * weeks)
    return np.sort(random.uniform(START, START + weeks * 7 * DAY, n))


@pytest.mark.parametrize("seed", range(5))
def test_a_planted_outage_is_found_and_nothing_else(seed: int) -> None:
    times = stream(20.0, 6, seed)
    a, b = START + 5 * 7 * DAY + 30 * 3600, START + 5 * 7 * DAY + 36 * 3600
    times = times[(times < a) | (times > b)]
    until = START + 6 * 7 * DAY
    found = find(series(times), [(START, until)], until, ZONE)
    assert len(found) == 1
    assert found[0].from_s <= a and found[0].until_s >= b
    assert not found[0].is_open
    assert found[0].p == math.exp(-found[0].expected) < IMPROBABLE


def test_tests_bunched_in_one_hour_a_night_are_no_outage_between() -> None:
    nights = np.concatenate([START + d * DAY + 7200 + np.linspace(0, 3600, 300) for d in range(42)])
    assert find(series(nights), [(START, START + 42 * DAY)], START + 42 * DAY, ZONE) == []


def test_a_night_without_the_bunch_is_one() -> None:
    nights = np.concatenate([START + d * DAY + 7200 + np.linspace(0, 3600, 300) for d in range(42) if d != 38])
    found = find(series(nights), [(START, START + 42 * DAY)], START + 42 * DAY, ZONE)
    assert len(found) == 1 and found[0].expected >= 250


def test_hours_without_a_source_are_not_judged() -> None:
    times = stream(20.0, 6, 1)
    a, b = START + 36 * DAY, START + 37 * DAY
    times = times[(times < a) | (times > b)]
    until = START + 42 * DAY
    assert find(series(times), [(START, a), (b, until)], until, ZONE) == []


def test_a_silence_up_to_the_end_is_open() -> None:
    times = stream(20.0, 6, 2)
    until = START + 42 * DAY
    times = times[times < until - 6 * 3600]
    found = find(series(times), [(START, until)], until, ZONE)
    assert [s.is_open for s in found] == [True]


def test_too_short_a_past_says_nothing() -> None:
    times = np.sort(np.random.default_rng(3).uniform(START, START + DAY, 500))
    times = times[(times < START + 0.4 * DAY) | (times > START + 0.7 * DAY)]
    assert find(series(times), [(START, START + DAY)], START + DAY, ZONE) == []


def test_lines_together_count_as_one_stream() -> None:
    one, other = series(stream(5.0, 1, 4)), series(stream(7.0, 1, 5))
    both = together([one, other])
    assert both.count.sum() == one.count.sum() + other.count.sum()
    assert (np.diff(both.first) >= 0).all() and (np.diff(both.last) >= 0).all()
    assert 60.0 <= usual_gap(both) <= usual_gap(one)
