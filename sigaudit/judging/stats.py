"""Exact intervals, tails and tests for small counts, computed once per distinct input.

A week over ten thousand accounts holds a few thousand different pairs of missed and due tests, so each
function works out the distinct inputs and spreads the answers back. Arguments are numbers or arrays that
broadcast against one another; answers are float arrays of their common shape. Numbers that cannot be
(a count below zero, more misses than tests) raise ValueError: they are a mistake of the caller.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]
Interval = tuple[Floats, Floats]


def clopper_pearson(k: ArrayLike, n: ArrayLike, conf: float = 0.95) -> Interval:
    """Lower and upper exact limit of a proportion: for claims, since it never covers too rarely.

    ``k`` of ``n``; n = 0 gives 0 and 1. Source: Clopper C.J. & Pearson E.S. (1934) Biometrika 26:404-413.
    """
    tail = _tail(conf)

    def limits(k: Floats, n: Floats) -> Floats:
        inside, short = np.maximum(k, 1), np.minimum(k, n - 1)
        low = np.where(k > 0, special.betaincinv(inside, n - inside + 1, tail), 0.0)
        high = np.where(k < n, special.betaincinv(short + 1, np.maximum(n - short, 1), 1 - tail), 1.0)
        return np.stack([low, high])

    return _two(_over_distinct(limits, *_of(k, n)))


def wilson(k: ArrayLike, n: ArrayLike, conf: float = 0.95) -> Interval:
    """Lower and upper score limit of a proportion: for display, near the nominal cover on average.

    ``k`` of ``n``; n = 0 gives 0 and 1. Source: Wilson E.B. (1927) J. Am. Stat. Assoc. 22:209-212.
    """
    z = float(special.ndtri(1 - _tail(conf)))
    hits, tries = _of(k, n)
    safe = np.maximum(tries, 1)
    share = hits / safe
    centre = (share + z * z / (2 * safe)) / (1 + z * z / safe)
    half = z * np.sqrt(share * (1 - share) / safe + z * z / (4 * safe * safe)) / (1 + z * z / safe)
    low = np.where(hits > 0, centre - half, 0.0)
    high = np.where(hits < tries, centre + half, 1.0)
    return low, high


def garwood(x: ArrayLike, exposure: ArrayLike = 1.0, conf: float = 0.95) -> Interval:
    """Lower and upper exact limit of a Poisson rate, ``x`` events in ``exposure`` (> 0), per its unit.

    Source: Garwood F. (1936) Biometrika 28:437-442.
    """
    tail = _tail(conf)
    events, time = _floats(x, exposure)
    _refuse(bool(np.any(~(time > 0))), "exposure must be above zero")

    def limits(x: Floats) -> Floats:
        low = np.where(x > 0, special.gammaincinv(np.maximum(x, 1), tail), 0.0)
        return np.stack([low, special.gammaincinv(x + 1, 1 - tail)])

    low, high = _two(_over_distinct(limits, _counts(events)))
    return low / time, high / time


def poisson_tail(x: ArrayLike, expected: ArrayLike) -> Floats:
    """P(X >= x) for a Poisson count of mean ``expected`` (>= 0)."""
    seen, mean = _floats(x, expected)
    _refuse(bool(np.any(~(mean >= 0))), "an expected count is at least zero")

    def tail(x: Floats, mean: Floats) -> Floats:
        return np.where(x > 0, special.gammainc(np.maximum(x, 1), mean), 1.0)

    return _over_distinct(tail, _counts(seen), mean)


def binomial_tail(k: ArrayLike, n: ArrayLike, p: ArrayLike) -> Floats:
    """P(X >= k) for ``n`` tries with chance ``p`` each; 0 where k is above n."""
    hits, tries, chance = _floats(k, n, p)
    _refuse(bool(np.any(~((chance >= 0) & (chance <= 1)))), "a chance lies between zero and one")

    def tail(k: Floats, n: Floats, p: Floats) -> Floats:
        possible = (k > 0) & (k <= n)
        inside = np.where(possible, k, 1)
        whole = np.where(possible, special.betainc(inside, np.maximum(n - inside + 1, 1), p), 0.0)
        return np.where(k <= 0, 1.0, whole)

    return _over_distinct(tail, _counts(hits), _counts(tries), chance)


def conditional_test(
    k1: ArrayLike, t1: ArrayLike, k0: ArrayLike, t0: ArrayLike, ratio: float = 1.0
) -> tuple[Floats, Floats]:
    """One-sided p, exact and mid-p, that the rate now is above ``ratio`` times the rate before.

    ``k1`` events in exposure ``t1`` now, ``k0`` in ``t0`` before (exposures > 0). Given their sum, k1 is
    binomial. The exact p is for claims; mid-p counts half of what was seen and is for ranking.
    Source: Przyborowski J. & Wilenski H. (1940) Biometrika 31:313-323; mid-p as in Gu K. et al. (2008)
    Biometrical Journal 50:283-298.
    """
    now, time_now, before, time_before = _floats(k1, t1, k0, t0)
    _refuse(bool(np.any(~((time_now > 0) & (time_before > 0)))), "exposure must be above zero")
    share = ratio * time_now / (ratio * time_now + time_before)
    exact = binomial_tail(now, now + before, share)
    return exact, (exact + binomial_tail(now + 1, now + before, share)) / 2


def hypergeometric_tail(x: ArrayLike, marked: ArrayLike, drawn: ArrayLike, whole: ArrayLike) -> Floats:
    """P(X >= x) that of ``drawn`` out of ``whole``, of which ``marked``, at least x are marked.

    One-sided exact test that two shares are equal, given their sum. Source: Fisher R.A. (1935) J. R. Stat.
    Soc. 98:39-82.
    """
    seen, of, tries, total = _floats(x, marked, drawn, whole)
    _refuse(bool(np.any(~((of <= total) & (tries <= total)))), "a part is no larger than the whole")

    def tail(x: Floats, of: Floats, tries: Floats, total: Floats) -> Floats:
        most = np.minimum(of, tries)
        first = np.maximum(x, np.maximum(0, of + tries - total))
        j = first[:, None] + np.arange(np.max(most - first, initial=-1.0) + 1.0)[None, :]
        inside = j <= most[:, None]
        j = np.asarray(np.where(inside, j, most[:, None]), dtype=np.float64)
        logs = _log_ways(of[:, None], j) + _log_ways((total - of)[:, None], tries[:, None] - j)
        logs = logs - _log_ways(total, tries)[:, None]
        return np.where(x <= np.maximum(0, of + tries - total), 1.0, np.where(inside, np.exp(logs), 0.0).sum(axis=1))

    return _over_distinct(tail, _counts(seen), _counts(of), _counts(tries), total)


def benjamini_hochberg(p: ArrayLike) -> Floats:
    """Adjusted p of each of many one-sided tests: flagging all at most q keeps false discoveries at q.

    ``p``: one family of tests, any order. NaN (not judged) stays NaN and does not count as a test.
    Source: Benjamini Y. & Hochberg Y. (1995) J. R. Stat. Soc. B 57:289-300.
    """
    chances = np.asarray(p, dtype=np.float64)
    answer = np.full(chances.shape, np.nan)
    judged = np.flatnonzero(~np.isnan(chances))
    if not judged.size:
        return answer
    values = chances[judged]
    _refuse(bool(np.any((values < 0) | (values > 1))), "a p-value lies between zero and one")
    order = np.argsort(values, kind="stable")
    stepped = values[order] * judged.size / np.arange(1, judged.size + 1)
    answer[judged[order]] = np.minimum(np.minimum.accumulate(stepped[::-1])[::-1], 1.0)
    return answer


def silence_probability(expected: ArrayLike) -> Floats:
    """P(nothing comes) while ``expected`` (>= 0) signals are: exp(-expected), of a dense Poisson stream."""
    (mean,) = _floats(expected)
    _refuse(bool(np.any(~(mean >= 0))), "an expected count is at least zero")
    return np.exp(-mean)


def scan_llr(c: ArrayLike, expected: ArrayLike, total: ArrayLike) -> Floats:
    """Log likelihood ratio that a window holds too much: ``c`` seen, ``expected``, of ``total`` in all.

    Zero where no more was seen than expected. ``expected`` must be scaled so that over all windows it
    sums to ``total``. Source: Kulldorff M. (1997) Commun. Statist. Theory Meth. 26:1481-1496.
    """
    seen, mean, whole = _floats(c, expected, total)
    _refuse(
        bool(np.any(~((mean > 0) & (mean < whole) & (seen <= whole)))),
        "a window expects and holds part of the whole",
    )
    inside = special.xlogy(seen, seen / mean)
    outside = special.xlogy(whole - seen, (whole - seen) / (whole - mean))
    return np.where(seen > mean, inside + outside, 0.0)


def longest_run(missed: ArrayLike, group: ArrayLike) -> NDArray[np.int64]:
    """Longest unbroken run of misses of each group, in the order in which the groups stand.

    ``missed``: true or false per due slot, sorted by group and time; ``group``: whose slot, equal ones
    side by side. Misses come in runs, so k of n alone says less than it seems to.
    """
    flags, owners = np.asarray(missed, dtype=bool), np.asarray(group)
    _refuse(flags.shape != owners.shape or flags.ndim != 1, "one group per slot is needed")
    if not flags.size:
        return np.zeros(0, dtype=np.int64)
    place = np.arange(flags.size)
    first = np.r_[True, owners[1:] != owners[:-1]]
    # A run begins after the last slot kept, or where the group begins.
    begin = np.maximum.accumulate(np.where(~flags, place + 1, np.where(first, place, 0)))
    return np.maximum.reduceat(np.where(flags, place - begin + 1, 0), np.flatnonzero(first))


def _over_distinct(function: Callable[..., Floats], *columns: Floats) -> Floats:
    """What ``function`` gives for every row, called once with the distinct rows; last axis = rows."""
    shape = columns[0].shape
    flat = [column.ravel() for column in columns]
    code = np.zeros(flat[0].size, dtype=np.int64)
    for column in flat:
        values, where = np.unique(column, return_inverse=True)
        _, code = np.unique(code * values.size + where, return_inverse=True)
    first = np.zeros(int(code.max(initial=-1)) + 1, dtype=np.int64)
    first[code] = np.arange(code.size)
    answer = function(*(column[first] for column in flat))[..., code]
    return answer.reshape((*answer.shape[:-1], *shape))


def _log_ways(n: Floats, k: Floats) -> Floats:
    return np.asarray(special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1))


def _floats(*values: ArrayLike) -> list[Floats]:
    return [np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(*values)]


def _of(k: ArrayLike, n: ArrayLike) -> list[Floats]:
    hits, tries = _floats(k, n)
    _refuse(bool(np.any(hits > tries)), "no more can be missed than was due")
    return [_counts(hits), _counts(tries)]


def _counts(values: Floats) -> Floats:
    _refuse(bool(np.any(~(values >= 0))), "a count is at least zero")
    return values


def _two(stacked: Floats) -> Interval:
    return stacked[0], stacked[1]


def _tail(conf: float) -> float:
    _refuse(not 0 < conf < 1, "a confidence lies between zero and one")
    return (1 - conf) / 2


def _refuse(wrong: bool, sentence: str) -> None:
    if wrong:
        raise ValueError(sentence)
