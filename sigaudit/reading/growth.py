"""Which source a file is: new, one already held, or one already held that has grown.

A source is its decompressed content. The first 4096 bytes are compared first, so that only a file that may
be known is read once more before it is taken in.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sigaudit.reading.lines import HEAD, Digests, Lines
from sigaudit.store.catalog import Source

__all__ = ["Arrival", "Identity", "identify", "in_order"]


@dataclass(frozen=True)
class Arrival:
    """A file to take in: where it lies, the name shown for it, the first bytes of its content."""

    path: Path
    name: str
    head: bytes


@dataclass(frozen=True)
class Identity:
    """``same``: these very bytes are held as this source. ``grown``: they begin with this whole source."""

    same: Source | None = None
    grown: Source | None = None


def identify(arrival: Arrival, sources: Sequence[Source], prefixes: Sequence[tuple[int, int, str]]) -> Identity:
    """What is known of a content. Raises InputProblem when the file cannot be read to its end."""
    heads: dict[int, str] = {}
    likely = [source for source in sources if _head(arrival.head, source.bytes, heads) == source.head_sha256]
    if not likely:
        return Identity()
    ids = {source.source_id: source for source in likely}
    earlier = [(size, sha, ids[number]) for number, size, sha in prefixes if number in ids]
    digests = Digests(wanted=[source.bytes for source in likely])
    for _ in Lines(arrival.path, arrival.name, digests=digests):
        pass
    whole = digests.hexdigest()
    known = [(source.bytes, source.sha256, source) for source in likely] + earlier
    for size, sha, source in known:
        if size == digests.bytes and sha == whole:
            return Identity(same=source)
    grown = [source for source in likely if digests.found.get(source.bytes) == source.sha256]
    return Identity(grown=max(grown, key=lambda source: source.bytes, default=None))


def _head(head: bytes, size: int, cache: dict[int, str]) -> str:
    size = min(size, HEAD)
    if size not in cache:
        cache[size] = hashlib.sha256(head[:size]).hexdigest()
    return cache[size]


def in_order(arrivals: Sequence[Arrival]) -> list[Arrival]:
    """Arrivals by name, but a file that another may continue comes before it."""
    named = sorted(arrivals, key=lambda one: one.name)
    heads = [one.head[:HEAD] for one in named]

    def leader(i: int) -> int:
        return next(j for j in range(len(named)) if heads[i].startswith(heads[j]))

    return [named[i] for i in sorted(range(len(named)), key=lambda i: (leader(i), named[i].path.stat().st_size, i))]
