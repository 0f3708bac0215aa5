"""Whether the clock behind a train of tests runs fast or slow.

The place of each test within its period is followed over the weeks. A line through these places is
a clock that drifts; a step is a clock that was set, or lost.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sigaudit.judging import rhythm
from sigaudit.judging.rhythm import DAY

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

COLUMNS = [*rhythm.KEYS, "n", "period_s", "drift_s_per_day", "spread_s", "largest_step_s", "first_utc", "last_utc"]


def drift(tests: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Drift of each train that has a period, one row each.

    ``tests`` as in ``rhythm.rhythm``; ``found`` its result (the key and ``period_s``). Columns: the key; ``n``
    tests; ``period_s``; ``drift_s_per_day`` slope of the places, positive = later every day; ``spread_s``
    median distance from that line; ``largest_step_s`` between neighbours beside the line; first and last test.
    Trains of fewer than four tests are left out.

    Slope: Theil-Sen over the pairs (i, i + n/2), the incomplete form of Sen P.K. (1968) JASA 63:1379-1389.
    """
    steady = found.dropna(subset="period_s")[[*rhythm.KEYS, "period_s"]]
    rows = tests.merge(steady, on=rhythm.KEYS).sort_values([*rhythm.KEYS, "received_utc"]).reset_index(drop=True)
    if rows.empty:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in COLUMNS})
    group, starts = rhythm.groups(rows)
    seconds = rows["received_utc"].to_numpy().astype("datetime64[us]").astype(np.int64) / 1e6
    near = np.r_[False, (group[1:] == group[:-1]) & (np.diff(seconds) < rhythm.RESEND_S)]
    seconds, group = seconds[~near], group[~near]
    n = np.bincount(group, minlength=len(starts))
    first = np.r_[0, np.cumsum(n)[:-1]]
    period = rows["period_s"].to_numpy()[starts]
    gap = np.r_[0.0, np.diff(seconds)]
    gap[first] = 0.0
    steps = np.rint(gap / period[group])
    off = gap - steps * period[group]  # the first of each group: 0
    place = _running(off, first, group)
    elapsed = seconds - seconds[first][group]
    slope = _slopes(elapsed, place, group, first, n)
    beside = place - slope[group] * elapsed
    level = _medians(beside, group, len(starts))
    spread = _medians(np.abs(beside - level[group]), group, len(starts))
    step = np.abs(off - slope[group] * gap)
    largest = np.zeros(len(starts))
    np.maximum.at(largest, group, step)
    told = rows.iloc[starts][rhythm.KEYS].reset_index(drop=True)
    told["n"], told["period_s"] = n, period
    told["drift_s_per_day"], told["spread_s"], told["largest_step_s"] = slope * DAY, spread, largest
    edges = np.rint(seconds * 1e6).astype(np.int64).astype("datetime64[us]")
    told["first_utc"], told["last_utc"] = edges[first], edges[first + n - 1]
    return told[n >= 4].reset_index(drop=True)[COLUMNS]


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
