"""Progress is an object handed in; the default does nothing. The drawn one lives in ``console``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol, TypeVar

T = TypeVar("T")


class Progress(Protocol):
    """Told of long work: ``over`` yields the items of a stage and notes each as done."""

    def over(self, items: Sequence[T], stage: str) -> Iterator[T]: ...


class _Silent:
    def over(self, items: Sequence[T], stage: str) -> Iterator[T]:
        yield from items


silent: Progress = _Silent()
