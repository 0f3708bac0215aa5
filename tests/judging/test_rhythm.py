"""Test rhythm against combs that were made, so that the truth is known, and against noise.

No published table exists for the period of a test signal; the combs are simulated from a seed.
Circular statistics are checked against textbook values in test_stats_published.py.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.judging.rhythm import DAY, HOUR, MONTH_S, PERIODS_S, rhythm

START = 1_760_000_000.0  # an instant in October 2025


def table(*trains: Sequence[float] | np.ndarray, programmed: Sequence[float] | None = None) -> pd.DataFrame:
    parts = []
    for number, train in enumerate(trains):
        instants = np.rint(np.sort(np.asarray(train, dtype=float)) * 1e6).astype(np.int64)
        part = pd.DataFrame({"received_utc": instants.astype("datetime64[us]")})
        part.insert(0, "account_key", f"main/{number:05d}")
        part.insert(1, "origin", "panel")
        part.insert(2, "path", "phone1")
        if programmed is not None:
            part["programmed_s"] = programmed[number]
        parts.append(part)
    return pd.concat(parts, ignore_index=True)


def comb(
    seed: int, period: float, slots: int, miss: float = 0.0, jitter: float = 60.0, drift_per_day: float = 0.0
) -> np.ndarray:
    rng = np.random.default_rng(seed)
    slot = np.flatnonzero(rng.random(slots) >= miss)
    true = period * (1 + drift_per_day / DAY)
    return START + rng.random() * period + slot * true + rng.normal(0, jitter, slot.size)


@pytest.mark.parametrize("period", PERIODS_S)
def test_the_period_of_a_clean_comb_is_found(period: float) -> None:
    (row,) = rhythm(table(comb(1, period, 30, jitter=20))).itertuples()
    assert row.period_s == period
    assert (row.n, row.fit_share, row.single_step_share) == (30, 1.0, 1.0)
    assert row.jitter_s == pytest.approx(20, rel=0.5)


@pytest.mark.parametrize(
    ("period", "slots"), [(6 * HOUR, 30), (DAY, 30), (7 * DAY, 13), (28 * DAY, 12), (30 * DAY, 12)]
)
@pytest.mark.parametrize(("miss", "least_found"), [(0.2, 0.97), (0.5, 0.70)])
def test_misses_and_drift_leave_it_undecided_at_worst(
    period: float, slots: int, miss: float, least_found: float
) -> None:
    trains = [comb(seed, period, slots, miss=miss, drift_per_day=20) for seed in range(300)]
    found = rhythm(table(*trains))["period_s"]
    assert (found == period).mean() >= least_found
    assert ((found != period) & found.notna()).sum() == 0


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    period=st.sampled_from(PERIODS_S[2:]),
    jitter=st.floats(0, 120),
    drift=st.floats(-30, 30),
    miss=st.floats(0, 0.3),
)
def test_no_divisor_and_no_multiple_is_ever_chosen(
    seed: int, period: float, jitter: float, drift: float, miss: float
) -> None:
    found = rhythm(table(comb(seed, period, 40, miss=miss, jitter=jitter, drift_per_day=drift)))["period_s"]
    assert found.isna().all() or found.eq(period).all()


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), n=st.integers(0, 200), days=st.sampled_from([3, 14, 42, 91]))
def test_times_at_random_have_no_rhythm(seed: int, n: int, days: int) -> None:
    rng = np.random.default_rng(seed)
    found = rhythm(table(START + rng.random(n) * days * DAY))
    assert found["period_s"].isna().all()
    assert found[["phase_s", "jitter_s", "single_step_share", "fit_share"]].isna().all(axis=None)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), shift_days=st.integers(-400, 400))
def test_shifting_all_times_by_days_shifts_nothing_else(seed: int, shift_days: int) -> None:
    train = comb(seed, DAY, 30, miss=0.1)
    before, after = rhythm(table(train)), rhythm(table(train + shift_days * DAY))
    pd.testing.assert_frame_equal(before, after, rtol=1e-6, atol=1e-3)


def test_another_account_changes_nothing() -> None:
    trains = [comb(5, DAY, 40, miss=0.2), comb(6, 6 * HOUR, 40), START + np.arange(3) * DAY]
    together = rhythm(table(*trains))
    for number, train in enumerate(trains):
        alone = rhythm(table(train))
        pd.testing.assert_frame_equal(
            together.iloc[[number], 1:].reset_index(drop=True), alone.iloc[:, 1:], check_exact=True
        )


def test_two_paths_of_one_account_are_two_rhythms() -> None:
    one, two = table(comb(1, DAY, 20)), table(comb(2, 6 * HOUR, 20)).assign(path="radio1")
    found = rhythm(pd.concat([one, two], ignore_index=True))
    assert found["path"].tolist() == ["phone1", "radio1"]
    assert found["period_s"].tolist() == [DAY, 6 * HOUR]


def test_same_day_of_each_calendar_month() -> None:
    months = pd.date_range("2025-03-05 02:10", periods=8, freq=pd.DateOffset(months=1))
    last = pd.to_datetime(["2025-01-31", "2025-02-28", "2025-03-31", "2025-04-30", "2025-05-31", "2025-06-30"])
    found = rhythm(table(*[t.as_unit("us").asi8 / 1e6 for t in (months, last)]))
    assert found["period_s"].iloc[0] == MONTH_S
    assert found["phase_s"].iloc[0] == pytest.approx(2 * HOUR + 600)
    # "The last day of each month" is another rule: from 28 February it leads to 28 March. Left open.
    assert np.isnan(found["period_s"].iloc[1])


def test_phase_is_the_time_of_day_in_utc_and_wraps_at_midnight() -> None:
    midnight = 20_000 * DAY
    offsets = np.tile([-300.0, 300.0], 10)
    (row,) = rhythm(table(midnight + np.arange(20) * DAY + offsets)).itertuples()
    assert min(row.phase_s, DAY - row.phase_s) < 1


def test_drift_is_taken_out_of_the_jitter() -> None:
    (row,) = rhythm(table(comb(3, DAY, 90, jitter=20, drift_per_day=30))).itertuples()
    assert row.jitter_s == pytest.approx(20, rel=0.3)


def test_resends_within_a_minute_are_one_test() -> None:
    train = comb(7, DAY, 30)
    (row,) = rhythm(table(np.r_[train, train[3] + 20, train[9] + 59])).itertuples()
    assert (row.n, row.period_s) == (30, DAY)


def test_four_gaps_are_needed() -> None:
    found = rhythm(table(START + np.arange(4) * DAY, START + np.arange(5) * DAY, [START]))
    assert found["n"].tolist() == [4, 5, 1]
    assert found["period_s"].isna().tolist() == [True, False, True]


def test_a_period_outside_the_list_is_found_only_when_programmed() -> None:
    train = comb(8, 36 * HOUR, 30, miss=0.1)
    found = rhythm(table(train, train, train, programmed=[np.nan, 36 * HOUR, 12 * HOUR]))
    assert found["period_s"].fillna(0).tolist() == [0, 36 * HOUR, 0]


def test_a_clock_kept_in_local_time_survives_the_change_night() -> None:
    zone = ZoneInfo("Europe/Berlin")  # the clock goes back an hour on 2025-10-26
    wall = [datetime(2025, 10, 10, 3, 30) + timedelta(days=day) for day in range(30)]
    (row,) = rhythm(table([w.replace(tzinfo=zone).timestamp() for w in wall])).itertuples()
    assert (row.period_s, row.fit_share) == (DAY, pytest.approx(28 / 29))
    assert row.jitter_s < 1


def test_two_boxes_on_one_key_are_not_given_a_rhythm_that_neither_keeps() -> None:
    train = np.r_[comb(1, DAY, 30), comb(2, DAY, 30) + 5 * HOUR]
    assert rhythm(table(train))["period_s"].isna().all()


def test_unsorted_or_empty_tables() -> None:
    empty = rhythm(table([]))
    assert list(empty.columns) == [
        *("account_key", "origin", "path", "n", "period_s"),
        *("phase_s", "jitter_s", "single_step_share", "fit_share"),
    ]
    assert empty.empty
    good = table(comb(1, DAY, 10), comb(2, DAY, 10))
    with pytest.raises(ValueError, match="sorted by time"):
        rhythm(good.iloc[[1, 0, *range(2, 20)]])
    with pytest.raises(ValueError, match="sorted by account"):
        rhythm(good.iloc[[*range(5), *range(10, 20), *range(5, 10)]])
    with pytest.raises(ValueError, match="no rhythm"):
        rhythm(good.assign(received_utc=pd.NaT))


def test_ten_thousand_accounts_take_about_a_second() -> None:
    rng = np.random.default_rng(11)
    period = rng.choice([6 * HOUR, DAY, 7 * DAY], 10_000)
    instants = START + rng.random((10_000, 1)) * DAY + period[:, None] * np.arange(100)
    tests = pd.DataFrame(
        {
            "account_key": np.repeat([f"main/{i:05d}" for i in range(10_000)], 100),
            "origin": "panel",
            "path": "phone1",
            "received_utc": (instants.ravel() * 1e6).astype(np.int64).astype("datetime64[us]"),
        }
    )
    took = []
    for _ in range(3):
        begin = time.process_time()
        found = rhythm(tests)
        took.append(time.process_time() - begin)
    assert (found["period_s"].to_numpy() == period).all()
    assert min(took) < 2.0  # 0.5 s measured on two cores; twice the wished second for slower machines
