"""One seeded source of chance per site and purpose, so that changing one life leaves all others alone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

import numpy as np

SEED = 20261012
T = TypeVar("T")
_base = [SEED]


@contextmanager
def seeded(*seed: int) -> Iterator[None]:
    """Within it all chance comes from ``seed`` instead of the demo's."""
    before = list(_base)
    _base[:] = seed
    try:
        yield
    finally:
        _base[:] = before


class Dice:
    """Draws from a PCG64 stream keyed by (SEED or what ``seeded`` says, key...).

    Only uniform numbers are taken from numpy: its other distributions may change between versions,
    and the demo must come out the same on every machine.
    """

    def __init__(self, *key: int) -> None:
        self._stream = np.random.Generator(np.random.PCG64(np.random.SeedSequence([*_base, *key])))

    def uniform(self) -> float:
        """A number in [0, 1)."""
        return float(self._stream.random())

    def chance(self, p: float) -> bool:
        """True with probability ``p``."""
        return self.uniform() < p

    def between(self, low: float, high: float) -> float:
        """A number in [low, high)."""
        return low + (high - low) * self.uniform()

    def whole(self, low: int, high: int) -> int:
        """A whole number from ``low`` to ``high``, both included."""
        return low + int(self.uniform() * (high - low + 1))

    def pick(self, items: Sequence[T]) -> T:
        """One of ``items``."""
        return items[int(self.uniform() * len(items))]

    def weighted(self, items: Sequence[T], weights: Sequence[float]) -> T:
        """One of ``items``, by weight."""
        mark = self.uniform() * sum(weights)
        for item, weight in zip(items, weights, strict=True):
            mark -= weight
            if mark < 0:
                return item
        return items[-1]

    def bell(self, mean: float, sd: float) -> float:
        """A normal number by Box and Muller's formula (1958)."""
        radius = math.sqrt(-2.0 * math.log(1.0 - self.uniform()))
        return mean + sd * radius * math.cos(2.0 * math.pi * self.uniform())

    def times(self, start: int, end: int, per_week: float) -> list[int]:
        """Instants [s] of a Poisson stream of ``per_week`` a week between ``start`` and ``end``."""
        found: list[int] = []
        if per_week <= 0:
            return found
        at = float(start)
        while True:
            at += -math.log(1.0 - self.uniform()) * 604800.0 / per_week
            if at >= end:
                return found
            found.append(int(at))

    def shuffled(self, items: Sequence[T]) -> list[T]:
        """A copy of ``items`` in another order (Fisher and Yates)."""
        order = list(items)
        for last in range(len(order) - 1, 0, -1):
            other = self.whole(0, last)
            order[last], order[other] = order[other], order[last]
        return order
