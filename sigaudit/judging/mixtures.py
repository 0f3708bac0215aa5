"""Which accounts miss tests because something is broken, learnt from all accounts of a kind together.

A raw share k/n puts a new account with 1 miss of 1 at the head of every list. Here each account's own
miss rate is drawn from what its peers do: one beta distribution (``fit_one``, ``shrink``) when all are
alike, two (``fit_two``, ``p_broken``) when a few are broken and the rest sound. One beta alone would pull
truly dead accounts far towards the sound crowd.

Misses that a common cause explains must be taken out of k and n first, or an outage teaches the model
that sound accounts miss tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

Floats = NDArray[np.float64]

LEAST_ACCOUNTS = 200  # below this a peer group is too small to be fitted: take the group above it
# Five numbers are sought: a method without linear algebra of its own threads is fifty times as fast here.
METHOD: Final = "SLSQP"
_BETA_RANGE = (np.log(1e-3), np.log(1e5))
# One kind of account never has rates piled up at all missed: that pile is the other kind.
_SOUND_BETA_RANGE = (0.0, np.log(1e5))
_STARTS = ((0.01, 0.5), (0.02, 0.9), (0.005, 0.3), (0.1, 0.7))  # sound and broken mean miss rate


@dataclass(frozen=True, slots=True)
class Beta:
    """A beta distribution of miss rates."""

    alpha: float
    beta: float

    @property
    def mean(self) -> float:
        return self.alpha / (self.alpha + self.beta)


@dataclass(frozen=True, slots=True)
class Mixture:
    """A crowd of sound accounts and a ``share`` of broken ones, each kind with its own miss rates.

    ``broken.alpha >= sound.alpha`` and ``broken.beta <= sound.beta``: with these one more miss never
    makes an account look sounder.
    """

    share: float
    sound: Beta
    broken: Beta


def fit_one(k: ArrayLike, n: ArrayLike) -> Beta:
    """The beta distribution that makes ``k`` missed of ``n`` due, one pair per account, likeliest.

    Beta-binomial maximum likelihood, at most a precision of 1e5. Raises ValueError without a single due
    test. Source: the empirical Bayes of Tarone R.E. (1982) Biometrics 38:215-220.
    """
    return _fit_one(_distinct(k, n), _BETA_RANGE)


def shrink(k: ArrayLike, n: ArrayLike, prior: Beta) -> Floats:
    """Expected miss rate of each account, its own ``k`` of ``n`` weighed against its peers."""
    hits, tries = _pairs(k, n)
    return (prior.alpha + hits) / (prior.alpha + prior.beta + tries)


def fit_two(k: ArrayLike, n: ArrayLike, near: Mixture | None = None) -> Mixture | None:
    """Sound and broken accounts told apart, or None where the data do not show two kinds.

    near: where the search begins, such as the mixture of a wider crowd; without it, at several places.

    ``k`` missed of ``n`` due, one pair per account. None with fewer than 200 accounts that had a test due,
    and where two kinds explain the counts no better than one by the Bayesian information criterion
    (Schwarz G. (1978) Ann. Stat. 6:461-464). Broken accounts are taken to be fewer than half.
    """
    kinds = _distinct(k, n)
    accounts = float(kinds.weight.sum())
    if accounts < LEAST_ACCOUNTS:
        return None

    def cost(point: Floats) -> tuple[float, Floats]:
        return _cost_and_slope(kinds, point)

    best = min(
        (
            optimize.minimize(
                cost,
                start,
                jac=True,
                method=METHOD,
                bounds=[(-12.0, 0.0), _BETA_RANGE, _SOUND_BETA_RANGE, (-7.0, 7.0), (-12.0, 0.0)],
                options={"ftol": 1e-10, "maxiter": 500},
            )
            for start in ([_point(near)] if near else [_start(*means) for means in _STARTS])
        ),
        key=lambda found: float(found.fun),
    )
    one = _fit_one(kinds, _SOUND_BETA_RANGE)
    alone = -float(kinds.weight @ _log_betabinom(kinds.k, kinds.n, one.alpha, one.beta))
    if alone - float(best.fun) <= 1.5 * np.log(accounts):  # three more parameters
        return None
    return _mixture(best.x)


def p_broken(k: ArrayLike, n: ArrayLike, mixture: Mixture) -> Floats:
    """Probability that an account with ``k`` missed of ``n`` due is one of the broken ones.

    With nothing due it is the share of broken ones among all. Source: Bayes' rule on ``mixture``.
    """
    hits, tries = _pairs(k, n)
    broken = _log_betabinom(hits, tries, mixture.broken.alpha, mixture.broken.beta)
    sound = _log_betabinom(hits, tries, mixture.sound.alpha, mixture.sound.beta)
    return np.asarray(special.expit(special.logit(mixture.share) + broken - sound), dtype=np.float64)


def rate_limits(k: ArrayLike, n: ArrayLike, prior: Beta, conf: float = 0.95) -> tuple[Floats, Floats]:
    """Equal-tailed limits of the miss rate of one kind of account, its own ``k`` of ``n`` and ``prior`` together.

    0 below where nothing was missed, 1 above where everything was. With the prior (1/2, 1/2) this is the
    interval of Jeffreys as in Brown L.D., Cai T.T. & DasGupta A. (2001) Statistical Science 16:101-133.
    """
    hits, tries = _pairs(k, n)
    tails = ((1 - conf) / 2, (1 + conf) / 2)
    low, high = (special.betaincinv(prior.alpha + hits, prior.beta + tries - hits, tail) for tail in tails)
    return np.where(hits > 0, low, 0.0), np.where(hits < tries, high, 1.0)


def expected_rate(k: ArrayLike, n: ArrayLike, mixture: Mixture, conf: float = 0.95) -> tuple[Floats, Floats, Floats]:
    """Miss rate to be expected of an account with ``k`` of ``n``, and its equal-tailed limits.

    The posterior is of two betas, weighed by ``p_broken``; its limits are found by halving, to 1e-6.
    """
    hits, tries = _pairs(k, n)
    broken = p_broken(hits, tries, mixture)
    kinds = ((mixture.sound, 1 - broken), (mixture.broken, broken))
    rate = np.asarray(sum(weight * shrink(hits, tries, kind) for kind, weight in kinds))
    limits = []
    for tail in ((1 - conf) / 2, (1 + conf) / 2):
        low, high = np.zeros(hits.shape), np.ones(hits.shape)
        for _ in range(20):
            middle = (low + high) / 2
            below = sum(
                weight * special.betainc(kind.alpha + hits, kind.beta + tries - hits, middle) for kind, weight in kinds
            )
            low, high = np.where(below < tail, middle, low), np.where(below < tail, high, middle)
        limits.append((low + high) / 2)
    return rate, limits[0], limits[1]


@dataclass(frozen=True, slots=True)
class _Kinds:
    """The distinct pairs with at least one test due, and how many accounts show each."""

    k: Floats
    n: Floats
    weight: Floats


def _fit_one(kinds: _Kinds, beta_range: tuple[float, float]) -> Beta:
    total = float(kinds.k @ kinds.weight), float(kinds.n @ kinds.weight)
    if not total[1]:
        raise ValueError("not one test was due")
    mean = (total[0] + 0.5) / (total[1] + 1)

    def cost(point: Floats) -> tuple[float, Floats]:
        a, b = (float(v) for v in np.exp(point))
        by_alpha, by_beta = _slopes(kinds, Beta(a, b), kinds.weight)
        return -float(kinds.weight @ _log_betabinom(kinds.k, kinds.n, a, b)), -np.array([by_alpha * a, by_beta * b])

    best = min(
        (
            optimize.minimize(
                cost,
                np.log([mean * precision, (1 - mean) * precision]),
                jac=True,
                method=METHOD,
                bounds=[_BETA_RANGE, beta_range],
                options={"ftol": 1e-13, "maxiter": 500},
            )
            for precision in (2.0, 50.0)
        ),
        key=lambda found: float(found.fun),
    )
    return Beta(*(float(v) for v in np.exp(best.x)))


def _distinct(k: ArrayLike, n: ArrayLike) -> _Kinds:
    hits, tries = (column.ravel() for column in _pairs(k, n))
    due = tries > 0
    base = int(tries.max(initial=0)) + 1
    code, weight = np.unique(hits[due].astype(np.int64) * base + tries[due].astype(np.int64), return_counts=True)
    return _Kinds((code // base).astype(np.float64), (code % base).astype(np.float64), weight.astype(np.float64))


def _pairs(k: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats]:
    hits, tries = (np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(k, n))
    if np.any(~((hits >= 0) & (hits <= tries))):
        raise ValueError("k missed of n due needs 0 <= k <= n")
    return hits, tries


def _log_betabinom(k: Floats, n: Floats, a: float, b: float) -> Floats:
    ways = -special.betaln(k + 1, n - k + 1) - np.log(n + 1)
    return np.asarray(ways + special.betaln(k + a, n - k + b) - special.betaln(a, b))


def _cost_and_slope(kinds: _Kinds, point: Floats) -> tuple[float, Floats]:
    """Minus the log likelihood of a point of the search, and its derivative (digamma of the four shapes)."""
    mixture = _mixture(point)
    logs = np.stack(
        [
            np.log1p(-mixture.share) + _log_betabinom(kinds.k, kinds.n, mixture.sound.alpha, mixture.sound.beta),
            np.log(mixture.share) + _log_betabinom(kinds.k, kinds.n, mixture.broken.alpha, mixture.broken.beta),
        ]
    )
    both = np.logaddexp(*logs)
    sound, broken = (kinds.weight * np.exp(of - both) for of in logs)  # accounts of either kind, as expected
    by_alpha, by_beta = _slopes(kinds, mixture.sound, sound)
    more_alpha, more_beta = _slopes(kinds, mixture.broken, broken)
    slope = np.array(
        [
            broken.sum() * (1 - mixture.share) - sound.sum() * mixture.share,
            (by_alpha + more_alpha) * mixture.sound.alpha,
            by_beta * mixture.sound.beta + more_beta * mixture.broken.beta,
            more_alpha * (mixture.broken.alpha - mixture.sound.alpha),
            more_beta * mixture.broken.beta,
        ]
    )
    return -float(kinds.weight @ both), -slope


def _slopes(kinds: _Kinds, beta: Beta, weight: Floats) -> tuple[float, float]:
    """Derivative of the weighted log likelihood by alpha and by beta."""
    whole = special.psi(kinds.n + beta.alpha + beta.beta) - special.psi(beta.alpha + beta.beta)
    hits = special.psi(kinds.k + beta.alpha) - special.psi(beta.alpha)
    rest = special.psi(kinds.n - kinds.k + beta.beta) - special.psi(beta.beta)
    return float(weight @ (hits - whole)), float(weight @ (rest - whole))


def _mixture(point: Floats) -> Mixture:
    """Point of the search to mixture: share below a half, broken alpha above and beta below the sound."""
    alpha, beta = float(np.exp(point[1])), float(np.exp(point[2]))
    return Mixture(
        share=float(special.expit(point[0])),
        sound=Beta(alpha, beta),
        broken=Beta(alpha + float(np.exp(point[3])), beta * float(np.exp(point[4]))),
    )


def _point(mixture: Mixture) -> Floats:
    """The point of the search that stands for a mixture, a little inside its bounds."""
    more = max(mixture.broken.alpha - mixture.sound.alpha, 1e-2)
    less = min(mixture.broken.beta / mixture.sound.beta, 0.95)
    logs = np.log([mixture.sound.alpha, mixture.sound.beta, more, less])
    return np.array([special.logit(mixture.share), *logs])


def _start(sound: float, broken: float) -> Floats:
    alpha, beta = 30 * sound, 30 * (1 - sound)
    more, less = 3 * broken, 3 * (1 - broken)
    return np.array([-4.0, np.log(alpha), np.log(beta), np.log(more), np.log(min(less / beta, 0.9))])
