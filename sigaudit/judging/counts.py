"""How often something happens at an account, weighed against its peers: counts whose own rates differ.

Line cuts of a crowd are not Poisson: some sites have a bad line. Each account's rate is drawn from a gamma
distribution, so a count is negative binomial, and three cuts in a week surprise less than Poisson says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from sigaudit.judging.mixtures import METHOD

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Gamma:
    """Rates of a crowd: gamma with ``shape``, and ``rate`` in units of exposure. A huge shape is Poisson."""

    shape: float
    rate: float

    @property
    def mean(self) -> float:
        return self.shape / self.rate


_RANGE = (np.log(1e-4), np.log(1e7))


def fit_gamma(k: ArrayLike, t: ArrayLike) -> Gamma:
    """The gamma of rates that makes ``k`` events in exposure ``t`` (> 0), one pair per account, likeliest.

    Maximum likelihood of the negative binomial on the distinct pairs. A crowd no more spread than Poisson
    gets the largest shape. Without one event the rate is half an event in all that exposure.
    Source: Greenwood M. & Yule G.U. (1920) J. R. Stat. Soc. 83:255-279.
    """
    seen, time = (np.asarray(v, dtype=np.float64).ravel() for v in np.broadcast_arrays(k, t))
    if np.any(~(time > 0)) or np.any(~(seen >= 0)):
        raise ValueError("a count of zero or more in an exposure above zero is needed")
    pairs, weight = np.unique(np.stack([seen, time]), axis=1, return_counts=True)
    seen, time = pairs
    total, whole = float(weight @ seen), float(weight @ time)
    mean = max(total, 0.5) / max(whole, 1e-9)
    if not total:
        return Gamma(1e7, 1e7 / mean)

    def cost(point: Floats) -> tuple[float, Floats]:
        shape, rate = np.exp(point)
        logs = (
            special.gammaln(shape + seen) - special.gammaln(shape)
            + shape * np.log(rate / (rate + time)) + special.xlogy(seen, time / (rate + time))
        )  # fmt: skip
        by_shape = special.psi(shape + seen) - special.psi(shape) + np.log(rate / (rate + time))
        by_rate = shape * time / (rate * (rate + time)) - seen / (rate + time)
        return -float(weight @ logs), -np.array([weight @ by_shape * shape, weight @ by_rate * rate])

    best = min(
        (
            optimize.minimize(
                cost, np.log([shape, shape / mean]), jac=True, method=METHOD, bounds=[_RANGE, (-20.0, 30.0)],
                options={"ftol": 1e-13, "maxiter": 500},
            )
            for shape in (0.5, 20.0)
        ),
        key=lambda found: float(found.fun),
    )  # fmt: skip
    return Gamma(*(float(v) for v in np.exp(best.x)))


def shrunken_rate(k: ArrayLike, t: ArrayLike, peers: Gamma) -> Floats:
    """Expected rate of an account with ``k`` events in ``t``, its own count weighed against its peers."""
    seen, time = (np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(k, t))
    return (peers.shape + seen) / (peers.rate + time)


def rate_limits(k: ArrayLike, t: ArrayLike, peers: Gamma, conf: float = 0.95) -> tuple[Floats, Floats]:
    """Equal-tailed limits between which that rate lies with probability ``conf``."""
    seen, time = (np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(k, t))
    tails = ((1 - conf) / 2, (1 + conf) / 2)
    low, high = (special.gammaincinv(peers.shape + seen, tail) / (peers.rate + time) for tail in tails)
    return low, high


def count_tail(k: ArrayLike, t: ArrayLike, peers: Gamma) -> Floats:
    """P(X >= k) in exposure ``t`` for an account of the crowd: the negative binomial's upper tail."""
    seen, time = (np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(k, t))
    tail = special.betainc(np.maximum(seen, 1), peers.shape, time / (peers.rate + time))
    return np.where(seen > 0, tail, 1.0)


def dispersion(k: ArrayLike) -> tuple[float, float]:
    """(n - 1) variance / mean of equal exposures, and its upper chi-square tail: small where rates differ.

    Source: Fisher R.A., Thornton H.G. & Mackenzie W.A. (1922) Ann. Appl. Biol. 9:325-359.
    """
    seen = np.asarray(k, dtype=np.float64)
    if seen.size < 2 or not seen.sum():
        return 0.0, 1.0
    index = float((seen.size - 1) * seen.var(ddof=1) / seen.mean())
    return index, float(special.chdtrc(seen.size - 1, index))
