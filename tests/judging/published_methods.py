"""Methods that the program does not use, worked out plainly so that their published values can be held to."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats as scipy_stats


def cusum(x: Sequence[float], target: float, slack: float) -> tuple[list[float], list[float]]:
    """Upper and lower tabular sums after each value."""
    upper, lower = [0.0], [0.0]
    for value in x:
        upper.append(max(0.0, upper[-1] + value - target - slack))
        lower.append(max(0.0, lower[-1] + target - value - slack))
    return upper[1:], lower[1:]


def arl(slack: float, limit: float, states: int = 400) -> float:
    """Mean run length to a false alarm of the two-sided sum, by a Markov chain (Brook & Evans 1972)."""
    width = 2 * limit / (2 * states - 1)
    to = np.arange(states)[None, :] - np.arange(states)[:, None]
    chance = scipy_stats.norm.cdf((to + 0.5) * width + slack) - scipy_stats.norm.cdf((to - 0.5) * width + slack)
    chance[:, 0] = scipy_stats.norm.cdf((0.5 - np.arange(states)) * width + slack)
    return float(np.linalg.solve(np.eye(states) - chance, np.ones(states))[0]) / 2


def osa(a: str, b: str, *, swaps: bool = True) -> int:
    """Optimal string alignment distance; without ``swaps`` that of Levenshtein."""
    d = [[i + j if i * j == 0 else 0 for j in range(len(b) + 1)] for i in range(len(a) + 1)]
    for i in range(1, len(a) + 1):
        for j in range(1, len(b) + 1):
            d[i][j] = min(d[i - 1][j] + 1, d[i][j - 1] + 1, d[i - 1][j - 1] + (a[i - 1] != b[j - 1]))
            if swaps and i > 1 and j > 1 and a[i - 1] == b[j - 2] and a[i - 2] == b[j - 1]:
                d[i][j] = min(d[i][j], d[i - 2][j - 2] + 1)
    return d[-1][-1]


def brier_parts(forecast: Sequence[float], observed: Sequence[float], weight: Sequence[float]) -> dict[str, float]:
    """Reliability, resolution and uncertainty of grouped forecasts, and the score itself."""
    f, o, w = (np.array(v, float) for v in (forecast, observed, weight))
    base = float(w @ o / w.sum())
    rel, res = float(w @ (f - o) ** 2 / w.sum()), float(w @ (o - base) ** 2 / w.sum())
    score = float(w @ (o * (f - 1) ** 2 + (1 - o) * f**2) / w.sum())
    return {"rel": rel, "res": res, "unc": base * (1 - base), "brier": score}


def seasonal(x: Sequence[float], period: int) -> list[float]:
    """Classical additive indices: centred moving average, means by place in the period, centred."""
    v = np.array(x, float)
    half = period // 2
    kernel = np.r_[0.5, np.ones(period - 1), 0.5] / period if period % 2 == 0 else np.ones(period) / period
    off = v[half : len(v) - half] - np.convolve(v, kernel, "valid")
    places = (np.arange(half, len(v) - half)) % period
    means = np.array([off[places == place].mean() for place in range(period)])
    return [float(m) for m in means - means.mean()]
