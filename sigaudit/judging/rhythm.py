"""How often a box really tests, read from its test signals alone.

Gaps between tests vote for a period out of a list. A gap fits a period when it is a whole number of
steps, within a tolerance that grows with the steps taken, because clocks drift. Every divisor of
the true period fits as well (a daily tester is perfectly six-hourly), so the share of single steps is
asked too: a divisor has hardly any. Of the periods accepted the longest is taken.

What it cannot tell: a box that misses exactly every second test looks like one with twice the
period. The interval programmed or asked for stands in the roster, never here.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sigaudit.judging import stats

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

HOUR, DAY = 3600.0, 86400.0
PERIODS_S = tuple(HOUR * h for h in (1, 4, 6, 8, 12, 24, 48, 168)) + tuple(DAY * d for d in (28, 30, 31))
MONTH_S = 365.2425 / 12 * DAY  # stands for "same day of each calendar month"

RESEND_S = 60.0  # closer than this it is the same test told again
LEAST_GAPS = 4
LEAST_FIT = 0.80
LEAST_SINGLE = 0.25
BASE_S = 900.0  # retry and jitter allowed at each gap, but never more than 5 % of the period
DRIFT_S_PER_DAY = 60.0
# A single step lies within a tenth of the period, or of 31 days for a month of 28; the rest is room to spare.
LEAST_NEAR, MOST_NEAR = 0.85, 1.15
LARGEST_CHANCE = 1e-5  # of that many fits by gaps that keep to no period at all

KEYS = ["account_key", "origin", "path"]


def rhythm(tests: pd.DataFrame) -> pd.DataFrame:
    """Test rhythm of each account, origin and path, one row each in the order of the table.

    ``tests``: ``account_key, origin, path`` text and ``received_utc`` naive UTC, sorted by these four;
    optional ``programmed_s`` (seconds, empty where not known), the same on all rows of a key, joins
    the list of periods for that key. Leave out tests whose time is doubtful.

    Columns: the key; ``n`` tests without resends; ``period_s`` (NaN: none accepted, or fewer than five tests;
    30.436875 days stands for the same day of each month); ``phase_s`` mean second of the day in UTC, or
    within the period if that is shorter; ``jitter_s`` spread of a test about its own clock, drift
    taken out; ``single_step_share`` and ``fit_share`` of all gaps, 0-1. All but n are NaN without a period.

    Raises ValueError when the table is not sorted. Method: gap voting as described above, start values
    from simulation; circular mean as in Zar J.H., Biostatistical Analysis, ch. 26.
    """
    group, starts = groups(tests)
    seconds = tests["received_utc"].to_numpy().astype("datetime64[us]").astype(np.int64) / 1e6
    same = group[1:] == group[:-1]
    if np.any(same & (np.diff(seconds) < 0)):
        raise ValueError("the tests of one account, origin and path must be sorted by time")
    kept = np.r_[True, ~(same & (np.diff(seconds) < RESEND_S))] if len(seconds) else np.zeros(0, dtype=bool)
    seconds, group = seconds[kept], group[kept]
    n_groups = len(starts)
    found = _periods(seconds, group, n_groups, _programmed(tests, starts))
    cycle = np.fmin(found["period_s"].to_numpy(), DAY)
    phase, _ = circular(seconds, cycle[group], group, n_groups)
    keys = tests[KEYS].iloc[starts].reset_index(drop=True)
    return pd.concat(
        [
            keys,
            pd.DataFrame({"n": np.bincount(group, minlength=n_groups), "period_s": found["period_s"]}),
            pd.DataFrame({"phase_s": np.where(found["period_s"].isna(), np.nan, phase)}),
            found[["jitter_s", "single_step_share", "fit_share"]],
        ],
        axis=1,
    )


def circular(values: Floats, cycle: Floats, group: Ints, n_groups: int) -> tuple[Floats, Floats]:
    """Circular mean of each group, in the unit of ``cycle`` and below it, and resultant length 0-1.

    ``values`` wrap at ``cycle`` (one per value, the same within a group); NaN where a group has none.
    The circular standard deviation is sqrt(-2 ln R) in radians. Source: Zar, ch. 26.
    """
    turn = 2 * np.pi * np.mod(values, cycle) / cycle
    n = np.bincount(group, minlength=n_groups)
    with np.errstate(invalid="ignore"):
        cos, sin = (np.bincount(group, part, n_groups) / n for part in (np.cos(turn), np.sin(turn)))
    of_group = np.full(n_groups, np.nan)
    of_group[group] = cycle
    mean = np.mod(np.arctan2(sin, cos), 2 * np.pi) / (2 * np.pi) * of_group
    return np.where(mean >= of_group, 0.0, mean), np.hypot(cos, sin)


def groups(tests: pd.DataFrame, time: str = "received_utc") -> tuple[Ints, Ints]:
    """Number of the key of each row, and the row at which each key starts."""
    if tests[[*KEYS, time]].isna().to_numpy().any():
        raise ValueError("a test without account, origin, path or time has no rhythm")
    changed = np.zeros(len(tests), dtype=bool)
    changed[:1] = True
    for key in KEYS:
        column = tests[key]
        changed[1:] |= (column.iloc[1:].array != column.iloc[:-1].array).astype(bool)
    starts = np.flatnonzero(changed)
    if tests[KEYS].iloc[starts].duplicated().any():
        raise ValueError("the tests must be sorted by account, origin and path")
    return np.cumsum(changed) - 1, starts


def _programmed(tests: pd.DataFrame, starts: Ints) -> Floats:
    if "programmed_s" not in tests:
        return np.full(len(starts), np.nan)
    programmed = tests["programmed_s"].iloc[starts].to_numpy(dtype=np.float64, na_value=np.nan)
    return np.where(programmed > 0, programmed, np.nan)


def _periods(seconds: Floats, group: Ints, n_groups: int, programmed: Floats) -> pd.DataFrame:
    """Longest accepted period of each group, with the shares that speak for it."""
    inside = group[1:] == group[:-1]
    before, after = seconds[:-1][inside], seconds[1:][inside]
    owner = group[1:][inside]
    gap = after - before
    n_gaps = np.bincount(owner, minlength=n_groups)
    found = {name: np.full(n_groups, np.nan) for name in ("period_s", "jitter_s", "single_step_share", "fit_share")}
    whole = [(np.full(n_groups, period), _in_steps) for period in PERIODS_S]
    for period, measure in [*whole, (np.full(n_groups, MONTH_S), _in_months), (programmed, _in_steps)]:
        # Only groups with enough gaps of about one period can be accepted: the rest need not be looked at closely.
        near = period[owner]
        near = (gap > LEAST_NEAR * near) & (gap < MOST_NEAR * near)
        maybe = np.bincount(owner, near, n_groups) >= np.maximum(LEAST_SINGLE * n_gaps, 1)
        maybe &= (n_gaps >= LEAST_GAPS) & ~(period <= found["period_s"])
        if not maybe.any():
            continue
        some = maybe[owner]
        who = owner[some]
        of_gap = period[who]
        steps, residual = measure(before[some], after[some], of_gap)
        base = np.fmin(BASE_S, 0.05 * of_gap)
        tolerance = base + np.fmin(DRIFT_S_PER_DAY * steps * of_gap / DAY, 0.05 * of_gap)
        fits = (steps >= 1) & (np.abs(residual) <= tolerance)
        n_fit = np.bincount(who, fits, n_groups)
        with np.errstate(invalid="ignore"):
            fit_share = n_fit / n_gaps
            single_share = np.bincount(who, fits & (steps == 1), n_groups) / n_gaps
            luck = np.bincount(who, np.fmin(2 * tolerance / of_gap, 1.0), n_groups) / n_gaps
        accepted = maybe & (fit_share >= LEAST_FIT) & (single_share >= LEAST_SINGLE)
        chance = stats.binomial_tail(n_fit[accepted], n_gaps[accepted], luck[accepted])
        accepted[accepted] = chance <= LARGEST_CHANCE
        counts = fits & accepted[who]
        jitter = _jitter(residual[counts], steps[counts], who[counts], n_groups)
        for name, values in (
            ("period_s", period),
            ("jitter_s", jitter),
            ("single_step_share", single_share),
            ("fit_share", fit_share),
        ):
            found[name] = np.where(accepted, values, found[name])
    return pd.DataFrame(found)


def _in_steps(before: Floats, after: Floats, period: Floats) -> tuple[Floats, Floats]:
    """Steps of ``period`` between two instants, and how far the second is from where they lead."""
    gap = after - before
    steps = np.rint(gap / period)
    return steps, gap - steps * period


def _in_months(before: Floats, after: Floats, _: Floats) -> tuple[Floats, Floats]:
    """Calendar months between two instants, and how far the second is from the day and time they lead to.

    The 31st of a month that has none is its last day, as a panel set to the 31st would do.
    """
    instant = np.rint(before).astype("datetime64[s]")
    first = instant.astype("datetime64[M]")
    into = (instant - first.astype("datetime64[s]")).astype(np.float64)
    between = (np.rint(after).astype("datetime64[s]").astype("datetime64[M]") - first).astype(np.int64)
    best_steps, best = np.zeros(len(before)), np.full(len(before), np.inf)
    for steps in (between - 1, between, between + 1):  # jitter about midnight may cross into the next month
        month = first + steps.astype("timedelta64[M]")
        start = month.astype("datetime64[s]").astype(np.float64)
        end = (month + np.timedelta64(1, "M")).astype("datetime64[s]").astype(np.float64)
        clipped = np.where(into < end - start, into, end - start - DAY + np.mod(into, DAY))
        residual = after - start - clipped
        closer = np.abs(residual) < np.abs(best)
        best, best_steps = np.where(closer, residual, best), np.where(closer, steps, best_steps)
    return best_steps, best


def _jitter(residual: Floats, steps: Floats, owner: Ints, n_groups: int) -> Floats:
    """Standard deviation of one test about its clock: a gap holds two of them, and the drift of its steps."""
    n = np.bincount(owner, minlength=n_groups)
    with np.errstate(invalid="ignore", divide="ignore"):
        drift = np.bincount(owner, residual, n_groups) / np.bincount(owner, steps, n_groups)
        left = residual - drift[owner] * steps
        return np.sqrt(np.bincount(owner, left * left, n_groups) / (n - 1) / 2)
