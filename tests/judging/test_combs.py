"""Two timers in one train of tests, and clocks that drift, against trains that were made.

The combs are simulated from a seed, so that the truth is known. The slope is checked against the worked
example of Sen P.K. (1968) JASA 63:1379-1389 as quoted in the test suite of a public statistics library, and
against that library's own full estimator.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import theilslopes

from sigaudit.judging.combs import combs
from sigaudit.judging.drift import drift
from sigaudit.judging.rhythm import DAY, HOUR, KEYS

START = 1_760_000_000.0 - 1_760_000_000.0 % DAY


def train(*instants: np.ndarray, name: str = "a", ways: tuple[str, ...] = ()) -> pd.DataFrame:
    parts = []
    for number, seconds in enumerate(instants):
        at = np.rint(np.asarray(seconds) * 1e6).astype(np.int64).astype("datetime64[us]")
        way = ways[number] if ways else "1/1"
        parts.append(pd.DataFrame({"received_utc": at, "at": at, "way": way}))
    rows = pd.concat(parts).sort_values("at", ignore_index=True)
    return rows.assign(account_key=f"main/{name}", origin="panel", path="phone")[
        ["account_key", "origin", "path", "received_utc", "at", "way"]
    ]


def comb(seed: int, period: float, phase: float, slots: int, miss: float = 0.0, jitter: float = 60.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    slot = np.flatnonzero(rng.random(slots) >= miss)
    return START + phase + slot * period + rng.normal(0, jitter, slot.size)


@pytest.mark.parametrize("miss", [0.0, 0.2])
@pytest.mark.parametrize(
    ("first", "second"), [((DAY, 40), (DAY, 40)), ((6 * HOUR, 160), (DAY, 40)), ((12 * HOUR, 80), (6 * HOUR, 160))]
)
def test_two_timers_are_told_apart(first: tuple[float, int], second: tuple[float, int], miss: float) -> None:
    trains = [
        train(
            comb(seed, first[0], 2 * HOUR, first[1], miss),
            comb(seed + 1000, second[0], 5.1 * HOUR, second[1], miss),
            name=f"{seed:02d}",
            ways=("1/1", "1/4"),
        )
        for seed in range(40)
    ]
    found = combs(pd.concat(trains, ignore_index=True))
    told = found[found["n"] > 10].groupby("account_key")[["period_s", "way"]]
    truth = {(first[0], "1/1"), (second[0], "1/4")}
    right = [set(part.itertuples(index=False, name=None)) == truth for _, part in told]
    assert len(right) == 40 and sum(right) >= 39


def test_one_timer_is_one_comb_and_noise_is_none() -> None:
    (row,) = combs(train(comb(1, DAY, 2 * HOUR, 40))).itertuples()
    assert (row.period_s, row.n, row.comb_no, row.share) == (DAY, 40, 1, 1.0)
    assert row.phase_s == pytest.approx(2 * HOUR, abs=60)
    rng = np.random.default_rng(7)
    noise = [train(np.sort(START + rng.random(30) * 40 * DAY), name=f"{i:03d}") for i in range(300)]
    found = combs(pd.concat(noise, ignore_index=True))
    assert not found["account_key"].duplicated().any()


def test_a_moved_timer_is_two_combs_that_do_not_overlap() -> None:
    before = comb(1, DAY, 2 * HOUR, 20)
    after = comb(2, DAY, 9 * HOUR, 20) + 20 * DAY
    first, second = combs(train(before, after)).itertuples()
    assert max(first.first_utc, second.first_utc) > min(first.last_utc, second.last_utc)


def test_no_train_no_row_and_many_trains_stay_apart() -> None:
    assert combs(train(np.zeros(0))).empty
    both = pd.concat(
        [train(comb(1, DAY, 0, 20), comb(2, DAY, 7 * HOUR, 20), name="a"), train(comb(3, DAY, 0, 20), name="b")]
    )
    assert combs(both.reset_index(drop=True)).groupby("account_key").size().to_dict() == {"main/a": 2, "main/b": 1}


def steady(period: float) -> pd.DataFrame:
    return pd.DataFrame({"account_key": ["main/a"], "origin": ["panel"], "path": ["phone"], "period_s": [period]})


@pytest.mark.parametrize("slope", [15.0, -40.0, 0.0])
def test_the_slope_of_a_drift_is_that_of_the_full_estimator(slope: float) -> None:
    rng = np.random.default_rng(3)
    slot = np.flatnonzero(rng.random(90) >= 0.2)
    seconds = START + slot * DAY + slot * slope + rng.normal(0, 20, slot.size)
    (row,) = drift(train(seconds), steady(DAY)).itertuples()
    full = theilslopes(seconds - seconds[0] - slot * DAY + slot[0] * DAY, (seconds - seconds[0]) / DAY)
    # Standard deviation of the incomplete form at n = 90 and a jitter of 120 s: 0.77 s a day; here a sixth of it.
    assert row.drift_s_per_day == pytest.approx(full.slope, abs=0.6)
    assert row.drift_s_per_day == pytest.approx(slope, abs=0.6)
    assert row.spread_s < 30


def test_sens_example() -> None:
    # x, y of the paper; slope 4 (all pairs). The pairs half a train apart give (45-9)/9, (55-15)/10, (78-19)/15,
    # y(4)=20 has no partner: n = 7, i + 3: (20-9)/3, (45-15)/8, (55-19)/9, (78-20)/14; median of 3.667 3.75 4 4.143.
    x = np.array([1, 2, 3, 4, 10, 12, 18])
    y = np.array([9, 15, 19, 20, 45, 55, 78])
    seconds = START + x * DAY + y
    (row,) = drift(train(seconds), steady(DAY)).itertuples()
    exact = np.median([11 / (3 + 11 / DAY), 30 / (8 + 30 / DAY), 36 / (9 + 36 / DAY), 58 / (14 + 58 / DAY)])
    assert row.drift_s_per_day == pytest.approx(exact, abs=1e-6)
    assert row.drift_s_per_day == pytest.approx(4, abs=0.2)


def test_a_step_is_told_as_a_step() -> None:
    seconds = START + np.arange(30) * DAY + np.where(np.arange(30) < 15, 0, 1800)
    (row,) = drift(train(seconds), steady(DAY)).itertuples()
    assert row.largest_step_s > 1500


def test_no_period_no_drift() -> None:
    assert drift(train(comb(1, DAY, 0, 20)), steady(np.nan)).empty
    assert list(drift(train(comb(1, DAY, 0, 20)), steady(DAY))[KEYS].iloc[0]) == ["main/a", "panel", "phone"]
