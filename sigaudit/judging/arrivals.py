"""Chatter and floods by the time from one signal to the next, and a week beside the weeks before it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PAUSE_S = 300.0  # a pause this long ends a run: one contact that swings is one episode (house)
MAD_TO_SD = 1.4826  # 1 / Phi^-1(3/4)
NOTABLE_Z = 3.5  # Iglewicz B. & Hoaglin D. (1993)


def burstiness(gaps: ArrayLike, group: ArrayLike, n_groups: int) -> Floats:
    """(sd - mean) / (sd + mean) of the times between signals of each group: -1 a timer, 0 chance, to 1 bursts.

    gaps: one per pair of neighbours; group: whose, from 0 to n_groups - 1. NaN with fewer than two gaps.
    Population standard deviation. Source: Goh K.-I. & Barabasi A.-L. (2008) EPL 81:48002.
    """
    times, owner = np.asarray(gaps, dtype=np.float64), np.asarray(group, dtype=np.int64)
    n = np.bincount(owner, minlength=n_groups).astype(np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(owner, times, n_groups) / n
        off = times - mean[owner]
        sd = np.sqrt(np.bincount(owner, off * off, n_groups) / n)
        return np.where(n >= 2, (sd - mean) / (sd + mean), np.nan)


def longest_run(gaps: ArrayLike, group: ArrayLike, n_groups: int, pause_s: float = PAUSE_S) -> tuple[Ints, Ints]:
    """Signals of the longest run without such a pause, and how many runs there are, of each group.

    gaps: in order of time, one fewer than the group has signals; group as in ``burstiness``. A group without a
    gap has one run of one signal.
    """
    times, owner = np.asarray(gaps, dtype=np.float64), np.asarray(group, dtype=np.int64)
    longest, runs = np.ones(n_groups, dtype=np.int64), np.ones(n_groups, dtype=np.int64)
    if not times.size:
        return longest, runs
    parted = times >= pause_s
    np.add.at(runs, owner[parted], 1)
    first = np.r_[True, owner[1:] != owner[:-1]]
    place = np.arange(times.size)
    begin = np.maximum.accumulate(np.where(parted, place + 1, np.where(first, place, 0)))
    np.maximum.at(longest, owner, np.where(parted, 1, place - begin + 2))
    return longest, runs


def robust_z(value: ArrayLike, median: ArrayLike, mad: ArrayLike) -> Floats:
    """How many standard deviations above the median, the spread told by the median deviation ``mad``.

    NaN where ``mad`` is 0, the usual case of rare counts: then only a count's own tail can tell. Beyond 3.5 is
    notable. Source: Iglewicz B. & Hoaglin D. (1993), How to Detect and Handle Outliers.
    """
    x, middle, spread = (np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(value, median, mad))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(spread > 0, (x - middle) / (MAD_TO_SD * spread), np.nan)


def median_and_mad(values: ArrayLike) -> tuple[float, float]:
    """Median, and median distance from it (unscaled)."""
    x = np.asarray(values, dtype=np.float64)
    middle = float(np.median(x))
    return middle, float(np.median(np.abs(x - middle)))
