"""Bursts: more accounts of one group struck within a short time than the group's own past explains.

A scan statistic over windows that begin at every loss, in several widths. An account counts once per
window, and not at all where its own habit would find it down in one window of five anyway. The chance
is that of the largest count anywhere in the span, given how many losses the group has in all (Wallenstein
and Neff's approximation), with a window's share of them taken from the same hours of other days where that
is more than its length says; times the number of groups and widths scanned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from sigaudit.judging.stats import binomial_tail, scan_llr

Seconds = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

DAY_S = 86400.0
WIDTHS_S = (900.0, 3600.0, 4 * 3600.0, 12 * 3600.0)
# Corrected for all windows scanned: about one invented incident in a thousand audits (house).
IMPROBABLE = 1e-3
# An account down in one window of five by habit says nothing when it is down in this one (house).
_HABIT = 0.2
# Losses spread evenly over the day that a group is given beside its own, so that two at one hour are no habit (house).
_EVEN = 5.0
# A nearer cause that holds so many of the accounts struck is the cause: chance adds some to a wider group (house).
_MOST_OF_THEM = 0.9
_LEAST_S = 60.0
# Bounds of the work: losses around one window that are looked at one by one, windows tried for one burst.
_MOST = 600
_TRIED = 400


@dataclass(frozen=True)
class Losses:
    """One entry per group and loss, in order of group and time.

    group, account, site: numbers; at: seconds since 1970 [s]; local: the same as a local clock counts [s].
    """

    group: Ints
    account: Ints
    site: Ints
    at: Seconds
    local: Seconds

    def only(self, kept: Flags) -> Losses:
        """Those entries that are marked."""
        ints = (self.group[kept], self.account[kept], self.site[kept])
        return Losses(*ints, self.at[kept], self.local[kept])


@dataclass(frozen=True)
class Groups:
    """By group number: span_s how long it was watched [s], rank the nearer cause first, size in accounts."""

    span_s: Seconds
    rank: Ints
    size: Ints


@dataclass(frozen=True)
class Rule:
    """What an incident is at least: accounts, sites, and how many times the expected count (house)."""

    accounts: int = 5
    sites: int = 3
    ratio: float = 5.0


@dataclass(frozen=True)
class Burst:
    """``accounts`` of a group struck from ``from_s`` to ``last_s`` where ``expected`` were to be expected."""

    group: int
    from_s: float
    last_s: float
    accounts: int
    expected: float
    p: float


@dataclass(frozen=True)
class _Windows:
    """Windows that chance does not explain."""

    losses: Losses
    first: Ints
    count: Ints
    width: Seconds
    share: Seconds
    total: Ints
    p: Seconds
    llr: Seconds


def scan_tail(k: ArrayLike, n: ArrayLike, w: ArrayLike) -> Seconds:
    """P(some window that is ``w`` of the whole holds ``k`` or more of ``n`` events), events at even chance.

    w: a fraction of the whole, up to 1/2. (k/w - n - 1) b(k; n, w) + 2 P(Bin(n, w) >= k), held to [0, 1]:
    exact for k > n/2, else an approximation good where it is small; two of n by the smallest spacing, exact.
    Source: Naus J.I. (1965) JASA 60:532-538; Wallenstein S. & Neff N. (1987) Statistics in Medicine 6:197-207;
    smallest spacing: Parzen E. (1960) Modern Probability Theory.
    """
    hits, total, share = (np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(k, n, w))
    if bool(np.any((hits < 1) | (hits > total) | ~((share > 0) & (share <= 0.5)))):
        raise ValueError("one to n events, and a window of at most half the whole")
    log_choose = special.gammaln(total + 1) - special.gammaln(hits + 1) - special.gammaln(total - hits + 1)
    exactly = np.exp(log_choose + special.xlogy(hits, share) + special.xlog1py(total - hits, -share))
    found = (hits / share - total - 1) * exactly + 2 * binomial_tail(hits, total, share)
    # Where no more came than was to be expected, the formula is no chance any more.
    found = np.where(hits <= total * share + 1, 1.0, found)
    spacing = 1 - np.maximum(1 - (total - 1) * share, 0.0) ** total
    found = np.where(hits == 2, spacing, np.where(hits == 1, 1.0, found))
    return np.clip(found, 0.0, 1.0)


def strongest(losses: Losses, groups: Groups, rule: Rule) -> Burst | None:
    """The burst that stands out most, or None. Of those that overlap it the nearest cause that is equally strong, or
    holds nearly all of its accounts: a few that chance adds make a wider group stand out no truer."""
    tests = int((groups.size >= rule.accounts).sum()) * len(WIDTHS_S)
    found = [w for w in (_windows(losses, groups, rule, width, tests) for width in WIDTHS_S) if len(w.llr)]
    if not found:
        return None
    places = np.concatenate([np.stack([np.full(len(w.llr), i), np.arange(len(w.llr))]) for i, w in enumerate(found)], 1)
    llr = np.concatenate([w.llr for w in found])
    best: list[tuple[float, int, int, Burst]] = []
    tried: set[int] = set()
    for at in np.argsort(-llr, kind="stable")[:_TRIED]:
        windows, row = found[places[0, at]], places[1, at]
        group = int(windows.losses.group[windows.first[row]])
        weaker = bool(best) and llr[at] < best[0][0] - 2
        if weaker and (group in tried or groups.rank[group] >= best[0][1]):
            continue
        burst = _trimmed(windows, int(row), rule)
        if burst is None or (best and not _overlap(burst, best[0][3])):
            continue
        if weaker:
            tried.add(group)
            if burst.accounts < _MOST_OF_THEM * best[0][3].accounts:
                continue
        best.append((float(llr[at]), int(groups.rank[burst.group]), int(groups.size[burst.group]), burst))
    if not best:
        return None
    return min(best, key=lambda entry: (entry[1], entry[2], -entry[0], entry[3].from_s))[3]


def _windows(losses: Losses, groups: Groups, rule: Rule, width: float, tests: int) -> _Windows:
    """Windows of one width, each beginning at a loss, that hold too many accounts."""
    counted = losses.only(_newly(losses, groups, width))
    group, at = counted.group, counted.at
    span = groups.span_s[group]
    total = np.bincount(group, minlength=len(groups.size)).astype(np.int64)[group]
    wide = float(at.max(initial=0.0) - at.min(initial=0.0)) + 2 * width + 1
    place = group * wide + (at - at.min(initial=0.0))
    first = np.arange(len(at))
    count = np.searchsorted(place, place + width, side="left") - first
    likely = np.flatnonzero((count >= rule.accounts) & (span >= 4 * width))
    likely = likely[count[likely] >= rule.ratio * (total - count)[likely] * width / span[likely]]
    same_hours = _same_hours(counted, likely, width) - count[likely]
    others = (total - count)[likely]
    days = np.maximum(span[likely] / DAY_S - 1, 1)
    clock = (np.maximum(same_hours, 0) + _EVEN * width / DAY_S) / (others + _EVEN) / days
    share = np.clip(np.maximum(width / span[likely], clock), None, 0.5)
    enough = count[likely] >= rule.ratio * others * share
    likely, share = likely[enough], share[enough]
    k, n = count[likely], total[likely]
    p = np.minimum(scan_tail(k, n, share) * tests, 1.0)
    good = np.flatnonzero(p < IMPROBABLE)
    keep = likely[good]
    llr = scan_llr(k[good], n[good] * share[good], n[good])
    return _Windows(counted, keep, k[good], np.full(len(keep), width), share[good], n[good], p[good], llr)


def _newly(losses: Losses, groups: Groups, width: float) -> Flags:
    """Losses of accounts that were up for a window's width before, and are not down by habit."""
    if not len(losses.at):
        return np.zeros(0, dtype=np.bool_)
    order = np.lexsort((losses.at, losses.account, losses.group))
    group, account, at = losses.group[order], losses.account[order], losses.at[order]
    same = np.r_[False, (group[1:] == group[:-1]) & (account[1:] == account[:-1])]
    fresh = ~same | (np.diff(at, prepend=at[:1]) >= width)
    owner = np.cumsum(~same) - 1
    often = np.bincount(owner, weights=fresh)[owner] * width / groups.span_s[group] > _HABIT
    flags = np.zeros(len(at), dtype=np.bool_)
    flags[order] = fresh & ~often
    return flags


def _same_hours(losses: Losses, first: Ints, width: float) -> Ints:
    """How many losses of the group lie in the same hours of any day, for the windows beginning at ``first``."""
    if not len(first):
        return np.zeros(0, dtype=np.int64)
    clock = losses.group * 3 * DAY_S + losses.local % DAY_S
    twice = np.sort(np.concatenate([clock, clock + DAY_S]))
    ends, starts = (np.searchsorted(twice, clock[first] + w, side="left") for w in (width, 0.0))
    return (ends - starts).astype(np.int64)


def _trimmed(windows: _Windows, row: int, rule: Rule) -> Burst | None:
    """The stretch around a window that stands out most, from loss to loss; None with too few sites."""
    losses, width = windows.losses, float(windows.width[row])
    first, share, total = int(windows.first[row]), float(windows.share[row]), int(windows.total[row])
    start, group = float(losses.at[first]), int(losses.group[first])
    rate = max(total - int(windows.count[row]), 0.5) * share / width
    low, high = first, first + int(windows.count[row])
    begin, end = np.searchsorted(losses.group, [group, group + 1])
    near = begin + np.searchsorted(losses.at[begin:end], [start - width, start + 2 * width])
    if near[1] - near[0] <= _MOST:
        low, high = int(near[0]), int(near[1])
    step = max(1, (high - low) // _MOST)
    picked = np.arange(low, high, step)
    at = losses.at[picked]
    count = (picked[None, :] - picked[:, None]) + 1
    expected = np.maximum(at[None, :] - at[:, None], _LEAST_S) * rate
    sound = (count >= rule.accounts) & (count > expected)
    llr = np.where(sound, count * np.log(np.maximum(count, 1) / expected) - (count - expected), -np.inf)
    i, j = np.unravel_index(int(np.argmax(llr)), llr.shape)
    inside = slice(int(picked[i]), int(picked[j]) + 1)
    accounts = len(np.unique(losses.account[inside]))
    if accounts < rule.accounts or len(np.unique(losses.site[inside])) < rule.sites:
        return None
    from_s, last_s = float(at[i]), float(at[j])
    expected_there = max(last_s - from_s, _LEAST_S) * rate
    return Burst(group, from_s, last_s, accounts, expected_there, float(windows.p[row]))


def _overlap(one: Burst, other: Burst) -> bool:
    return one.from_s <= other.last_s and other.from_s <= one.last_s
