"""Which source a file is: new, one already held, or one already held that has grown.

A source is its decompressed content. The first 4096 bytes are compared first, so that only a file that may
be known is read once more before it is taken in.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sigaudit.errors import InputProblem
from sigaudit.reading.content import is_as_stored
from sigaudit.reading.lines import HEAD, Digests, Lines
from sigaudit.reading.staging import SKIPPED, Staged
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.catalog import Source

__all__ = ["Arrival", "Identity", "earlier_state_of", "identify", "in_order"]


Lineage = Callable[[int], str]


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
        if size == digests.size and sha == whole:
            return Identity(same=source)
    grown = [source for source in likely if digests.found.get(source.bytes) == source.sha256]
    return Identity(grown=max(grown, key=lambda source: source.bytes, default=None))


def earlier_state_of(
    con: engine.Connection,
    staged: Staged,
    layout_id: str,
    sources: Sequence[Source],
    lineage: Lineage,
    rejects: Lineage,
) -> Source | None:
    """The source of which a new content is an earlier, shorter state; None if there is none.

    The content of a source is not kept, so its beginning cannot be hashed again: every settled line of the new
    content must stand in the source with the same number, at the same byte, with the same key (or, for a
    reject, the same text). One without settled lines must end where a line of the source begins.
    lineage, rejects: table expressions of a source's rows.
    """
    stage, until = staged.lines_sql, staged.open_line or staged.next_line
    for source in sources:
        if source.bytes <= staged.size or source.layout != layout_id:
            continue
        if staged.size >= HEAD and source.head_sha256 != staged.head_sha256:
            continue
        settled, strange, opened = engine.rows(
            con,
            f"""with mine as (
                select line_no, byte_off, key, reason, raw from {stage}
                where reason not in ({SKIPPED}) and line_no < {until}
            ),
            theirs as (select line_no, byte_off, key, null as raw from {lineage(source.source_id)}
                union all select line_no, byte_off, null, raw from {rejects(source.source_id)})
            select (select count(*) from mine),
                (select count(*) from mine where not exists (
                    from theirs t where t.line_no = mine.line_no and t.byte_off = mine.byte_off
                    and (t.key = mine.key and mine.reason = '' or t.raw = mine.raw and mine.reason <> ''))),
                (select count(*) from theirs
                    where line_no = {until} and byte_off = {staged.open_byte or staged.size})""",
        )[0]
        if not strange and (settled or opened):
            return source
    return None


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
        return next(j for j in range(len(named)) if heads[i].startswith(heads[j]) or heads[j].startswith(heads[i]))

    leaders = [leader(i) for i in range(len(named))]
    crowded = {j for j in leaders if leaders.count(j) > 1}
    sizes = [_size(named[i]) if leaders[i] in crowded else 0 for i in range(len(named))]
    return [named[i] for i in sorted(range(len(named)), key=lambda i: (leaders[i], sizes[i], i))]


def _size(arrival: Arrival) -> int:
    """Bytes of the content; a damaged archive counts as its file, its fault is told when it is taken."""
    if is_as_stored(arrival.path):
        return arrival.path.stat().st_size
    digests = Digests()
    try:
        for _ in Lines(arrival.path, arrival.name, digests=digests):
            pass
    except InputProblem:
        return arrival.path.stat().st_size
    return digests.size
