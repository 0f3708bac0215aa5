"""Long work over a list, told to a ``Progress`` item by item."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeVar

from sigaudit.model import Progress, silent

__all__ = ["Progress", "over", "silent"]

T = TypeVar("T")


def over(progress: Progress, items: Sequence[T], stage: str) -> Iterator[T]:
    """The items of one stage, each counted when its turn is over."""
    progress.start(stage, len(items))
    for item in items:
        yield item
        progress.step()
    progress.done()
