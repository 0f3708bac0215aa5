"""How long conditions last before they end, those still open counted for as long as they have lasted.

Leaving the open ones out makes every repair look quick: only the short ones have ended yet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Curve:
    """Share still open after each distinct time. at_risk: open until then; ended: at that time."""

    times: Floats
    open_share: Floats
    at_risk: Floats
    ended: Floats

    @property
    def median(self) -> float:
        """The first time by which half have ended; NaN where fewer than half ever did."""
        reached = np.flatnonzero(self.open_share <= 0.5 + 1e-12)
        return float(self.times[reached[0]]) if reached.size else float("nan")

    def after(self, time: float) -> float:
        """Share of conditions that last longer than ``time``."""
        place = int(np.searchsorted(self.times, time, side="right"))
        return float(self.open_share[place - 1]) if place else 1.0

    def standard_error(self) -> Floats:
        """Of ``open_share``; 0 where all have ended. Source: Greenwood M. (1926)."""
        with np.errstate(invalid="ignore", divide="ignore"):
            terms = self.ended / (self.at_risk * (self.at_risk - self.ended))
            return np.where(self.open_share > 0, self.open_share * np.sqrt(np.cumsum(terms)), 0.0)

    def limits_after(self, time: float, conf: float = 0.95) -> tuple[float, float]:
        """Limits of ``after(time)`` by the log-log transform, which stay between 0 and 1."""
        place = int(np.searchsorted(self.times, time, side="right")) - 1
        share = self.after(time)
        if place < 0 or not 0 < share < 1:
            return share, share
        z = float(special.ndtri((1 + conf) / 2))
        spread = z * float(self.standard_error()[place]) / (share * abs(np.log(share)))
        return float(share ** np.exp(spread)), float(share ** np.exp(-spread))


def kaplan_meier(time: ArrayLike, ended: ArrayLike) -> Curve:
    """The product-limit curve of conditions that lasted ``time`` and then ended, or (False) were still open.

    Source: Kaplan E.L. & Meier P. (1958) J. Am. Stat. Assoc. 53:457-481.
    """
    lasted, over = np.asarray(time, dtype=np.float64), np.asarray(ended, dtype=bool)
    if lasted.shape != over.shape or np.any(~(lasted >= 0)):
        raise ValueError("a condition lasts a time of zero or more, and ended or not")
    times, where = np.unique(lasted, return_inverse=True)
    leaving = np.bincount(where, minlength=times.size).astype(np.float64)
    n_ended = np.bincount(where, over.astype(np.float64), times.size).astype(np.float64)
    at_risk = lasted.size - np.r_[0.0, np.cumsum(leaving)[:-1]] if times.size else times
    return Curve(times, np.cumprod(1 - n_ended / at_risk) if times.size else times, at_risk, n_ended)


def log_rank(time: ArrayLike, ended: ArrayLike, second: ArrayLike) -> tuple[float, float]:
    """Chi square and two-sided p that two groups of conditions last equally long.

    second: True for those of the second group. Where nothing can differ: 0 and 1.
    Source: Mantel N. (1966) Cancer Chemother. Rep. 50:163-170.
    """
    lasted, over, other = np.asarray(time, dtype=np.float64), np.asarray(ended, bool), np.asarray(second, bool)
    times = np.unique(lasted[over])

    def still(of: Floats) -> Floats:
        return of.size - np.searchsorted(np.sort(of), times, side="left").astype(np.float64)

    at_risk, of_second = still(lasted), still(lasted[other])
    d = _ending(lasted[over], times)
    spread = of_second * (at_risk - of_second) * d * (at_risk - d) / (at_risk**2 * np.maximum(at_risk - 1, 1))
    if not times.size or spread.sum() <= 0:
        return 0.0, 1.0
    excess = _ending(lasted[over & other], times).sum() - (d * of_second / at_risk).sum()
    chi2 = float(excess**2 / spread.sum())
    return chi2, float(special.chdtrc(1, chi2))


def _ending(of: Floats, times: Floats) -> Floats:
    return np.bincount(np.searchsorted(times, of), minlength=times.size).astype(np.float64)
