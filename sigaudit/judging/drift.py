"""Whether the clock behind a train of tests runs fast or slow.

The place of each test within its period is followed over the weeks. A line through these places is
a clock that drifts; a step is a clock that was set, or lost.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from sigaudit.judging import rhythm
from sigaudit.judging.rhythm import DAY

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_FOR_LIMITS = 300  # tests whose every pair is looked at

COLUMNS = [*rhythm.KEYS, "n", "period_s", "drift_s_per_day", "spread_s", "largest_step_s", "first_utc", "last_utc"]


def drift(tests: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Drift of each train that has a period, one row each.

    ``tests`` as in ``rhythm.rhythm``; ``found`` its result (the key and ``period_s``). Columns: the key; ``n``
    tests; ``period_s``; ``drift_s_per_day`` slope of the places, positive = later every day; ``spread_s``
    median distance from that line; ``largest_step_s`` between neighbours beside the line; first and last test.
    Trains of fewer than four tests are left out.

    Slope: Theil-Sen over the pairs (i, i + n/2), the incomplete form of Sen P.K. (1968) JASA 63:1379-1389.
    """
    group, starts = rhythm.groups(tests)
    keys = tests[rhythm.KEYS].iloc[starts].reset_index(drop=True)
    period = keys.merge(found[[*rhythm.KEYS, "period_s"]], on=rhythm.KEYS, how="left")["period_s"].to_numpy(np.float64)
    steady = np.flatnonzero(~np.isnan(period))
    if not len(steady):
        return pd.DataFrame({name: pd.Series(dtype=object) for name in COLUMNS})
    kept = ~np.isnan(period)[group]
    seconds = tests["received_utc"].to_numpy()[kept].astype("datetime64[us]").astype(np.int64) / 1e6
    renumbered = np.zeros(len(period), dtype=np.int64)
    renumbered[steady] = np.arange(len(steady))
    group, period, keys = renumbered[group[kept]], period[steady], keys.iloc[steady].reset_index(drop=True)
    near = np.r_[False, (group[1:] == group[:-1]) & (np.diff(seconds) < rhythm.RESEND_S)]
    seconds, group = seconds[~near], group[~near]
    n = np.bincount(group, minlength=len(period))
    first = np.r_[0, np.cumsum(n)[:-1]]
    gap = np.r_[0.0, np.diff(seconds)]
    gap[first] = 0.0
    steps = np.rint(gap / period[group])
    off = gap - steps * period[group]  # the first of each group: 0
    place = _running(off, first, group)
    elapsed = seconds - seconds[first][group]
    slope = _slopes(elapsed, place, group, first, n)
    beside = place - slope[group] * elapsed
    level = _medians(beside, group, len(period))
    spread = _medians(np.abs(beside - level[group]), group, len(period))
    step = np.abs(off - slope[group] * gap)
    largest = np.zeros(len(period))
    np.maximum.at(largest, group, step)
    told = keys.assign(n=n, period_s=period)
    told["drift_s_per_day"], told["spread_s"], told["largest_step_s"] = slope * DAY, spread, largest
    edges = np.rint(seconds * 1e6).astype(np.int64).astype("datetime64[us]")
    told["first_utc"], told["last_utc"] = edges[first], edges[first + n - 1]
    return told[n >= 4].reset_index(drop=True)[COLUMNS]


def slope_limits(x: Floats, y: Floats, conf: float = 0.95) -> tuple[float, float, float]:
    """Slope of ``y`` over ``x`` (rising) and its limits, from all pairs: for one train of a few hundred points.

    Source: Sen P.K. (1968) JASA 63:1379-1389; the limits from the variance of Kendall's tau without ties in x.
    """
    first, second = np.triu_indices(len(x), 1)
    apart = x[second] > x[first]
    slopes = np.sort((y[second] - y[first])[apart] / (x[second] - x[first])[apart])
    n, pairs = len(x), len(slopes)
    _, ties = np.unique(y, return_counts=True)
    variance = (n * (n - 1) * (2 * n + 5) - float((ties * (ties - 1) * (2 * ties + 5)).sum())) / 18
    reach = float(special.ndtri((1 + conf) / 2)) * np.sqrt(variance)
    low = max(int(np.rint((pairs - reach) / 2)) - 1, 0)
    high = min(int(np.rint((pairs + reach) / 2)), pairs - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])


def _running(values: Floats, first: Ints, group: Ints) -> Floats:
    total: Floats = np.cumsum(values)
    return total - total[first][group]


def _slopes(elapsed: Floats, place: Floats, group: Ints, first: Ints, n: Ints) -> Floats:
    """Median slope of each group over its pairs half a train apart."""
    rank = np.arange(len(group)) - first[group]
    half = (n // 2)[group]
    a = np.flatnonzero((rank < n[group] - half) & (half > 0))
    b = a + half[a]
    return np.nan_to_num(_medians((place[b] - place[a]) / (elapsed[b] - elapsed[a]), group[a], len(n)))


def _medians(values: Floats, group: Ints, n_groups: int) -> Floats:
    """Median of each group; NaN where it has no value."""
    ordered = values[np.lexsort((values, group))]
    n = np.bincount(group, minlength=n_groups)
    first = np.r_[0, np.cumsum(n)[:-1]]
    found = np.full(n_groups, np.nan)
    some = n > 0
    low, high = first + (n - 1) // 2, first + n // 2
    found[some] = (ordered[low[some]] + ordered[high[some]]) / 2
    return found
