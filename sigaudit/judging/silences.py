"""Silent stretches of a receiver line that chance does not explain.

A stretch counts when the line's own past says that far too much should have come in it:
P(0) = exp(-expected) < 1e-9 for a Poisson stream, where ``expected`` is the median count in the
same clock hours of other weeks (of other days while history is short). Taking the very same hours
keeps a quiet night, or tests bunched on the hour, from looking like an outage.
Source: Poisson probability of zero; threshold 1e-9 is a house value (about 21 expected signals).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

Seconds = npt.NDArray[np.float64]

IMPROBABLE = 1e-9
SHORTEST_S = 600.0
WEEK_S = 7 * 86400.0
DAY_S = 86400.0
_LEAST_WEEKS = 2
_LEAST_DAYS = 3


@dataclass(frozen=True)
class Series:
    """Traffic of one line (or a receiver's lines together): minutes with signals, in order.

    first, last: seconds since 1970 [s] of the minute's first and last signal; count [signals].
    """

    first: Seconds
    last: Seconds
    count: npt.NDArray[np.int64]

    def between(self, from_s: float, until_s: float) -> int:
        """Signals in minutes that begin in [from_s, until_s)."""
        low, high = np.searchsorted(self.first, [from_s, until_s])
        return int(self.count[low:high].sum())


@dataclass(frozen=True)
class Silence:
    """Nothing from ``from_s`` to ``until_s`` [s since 1970] where ``expected`` signals were due."""

    from_s: float
    until_s: float
    expected: float
    is_open: bool = False

    @property
    def p(self) -> float:
        """Chance of such a silence in a healthy stream."""
        return math.exp(-self.expected)


def together(parts: list[Series]) -> Series:
    """Several lines as one stream."""
    first = np.concatenate([part.first for part in parts])
    order = np.argsort(first, kind="stable")
    last = np.concatenate([part.last for part in parts])[order]
    return Series(first[order], np.maximum.accumulate(last), np.concatenate([part.count for part in parts])[order])


def find(series: Series, spans: list[tuple[float, float]], until_s: float, zone: ZoneInfo) -> list[Silence]:
    """Improbable silences inside the covered ``spans`` [s], oldest first; one may be open at ``until_s``."""
    if not len(series.first):
        return []
    edges_from = np.append(series.last, [])
    starts = edges_from
    ends = np.append(series.first[1:], until_s)
    long_enough = np.flatnonzero(ends - starts >= SHORTEST_S)
    found = []
    for i in long_enough:
        is_open = bool(i == len(starts) - 1)
        inside = _clip(float(starts[i]), float(ends[i]), spans)
        if inside is None:
            continue
        expected = _expected(series, *inside, spans, zone)
        if expected is not None and math.exp(-expected) < IMPROBABLE:
            found.append(Silence(*inside, expected, is_open=is_open and inside[1] >= until_s - 1))
    return found


def usual_gap(series: Series) -> float:
    """The silence that 99 % of the gaps stay under [s], between 1 min and 2 h (house bounds)."""
    gaps = series.first[1:] - series.last[:-1]
    return float(min(max(np.quantile(gaps, 0.99), 60.0), 7200.0)) if len(gaps) else 60.0


def _clip(from_s: float, until_s: float, spans: list[tuple[float, float]]) -> tuple[float, float] | None:
    """The longest part of a gap that lies in one covered span, if it is long enough to speak of."""
    parts = [(max(from_s, a), min(until_s, b)) for a, b in spans if min(until_s, b) - max(from_s, a) >= SHORTEST_S]
    return max(parts, key=lambda part: part[1] - part[0]) if parts else None


def _expected(
    series: Series, from_s: float, until_s: float, spans: list[tuple[float, float]], zone: ZoneInfo
) -> float | None:
    """Median count in the same local hours of other weeks, else of other days; None with too few."""
    weeks = _same_hours(series, from_s, until_s, spans, zone, WEEK_S, 13)
    if len(weeks) >= _LEAST_WEEKS:
        return float(np.median(weeks))
    days = _same_hours(series, from_s, until_s, spans, zone, DAY_S, 21)
    return float(np.median(days)) if len(days) >= _LEAST_DAYS else None


def _same_hours(
    series: Series, from_s: float, until_s: float, spans: list[tuple[float, float]], zone: ZoneInfo,
    step_s: float, reach: int,
) -> list[int]:  # fmt: skip
    counts = []
    for k in range(-reach, reach + 1):
        shifted = _shift(from_s, k * step_s, zone)
        length = until_s - from_s
        overlaps = abs(shifted - from_s) < length
        if k and not overlaps and any(a <= shifted and shifted + length <= b for a, b in spans):
            counts.append(series.between(shifted, shifted + length))
    return counts


def _shift(at_s: float, by_s: float, zone: ZoneInfo) -> float:
    """The same local clock time some days away."""
    local = datetime.fromtimestamp(at_s, UTC).astimezone(zone).replace(tzinfo=None)
    return (local + timedelta(seconds=by_s)).replace(tzinfo=zone).timestamp()
