"""Rejected lines as the store keeps them: as work, by source and reason, or line by line."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sigaudit.errors import UsageProblem
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.catalog import Source
from sigaudit.store.opening import Store
from sigaudit.store.relations import relation
from sigaudit.store.shipped import query

__all__ = ["Pile", "lines", "piles"]


@dataclass(frozen=True)
class Pile:
    """The lines of one source that were refused for one reason; samples: (line_no, text) of the first three."""

    source: Source
    reason: str
    n: int
    first_line: int
    last_line: int
    samples: tuple[tuple[int, str], ...]


def piles(store: Store, memory_limit: str, *, reason: str = "", source: str = "") -> list[Pile]:
    """Rejects by the source's name and reason; of one reason or one source (its name, or the end of it) only.

    Raises UsageProblem when no source is called so.
    """
    wanted = {one.source_id: one for one in _sources(store, source)}
    con = engine.connect(memory_limit=memory_limit)
    try:
        engine.run(con, f"create temp view rejects as {_selected(store, wanted, reason)}")
        found = engine.rows(con, query("report/rejects"))
    finally:
        con.close()
    made: dict[tuple[int, str], Pile] = {}
    for source_id, why, n, first, last, line_no, raw in found:
        seen = made.get((source_id, why))
        samples = (*(seen.samples if seen else ()), (line_no, raw))
        made[source_id, why] = Pile(wanted[source_id], why, n, first, last, samples)
    return sorted(made.values(), key=lambda one: (one.source.name, one.source.source_id, one.reason))


def lines(
    store: Store, memory_limit: str, limit: int, *, reason: str = "", source: str = ""
) -> list[dict[str, Any]]:  # fmt: skip
    """The first ``limit`` rejected lines: source (name), line_no, reason, field, raw. Raises as ``piles``."""
    wanted = {one.source_id: one for one in _sources(store, source)}
    con = engine.connect(memory_limit=memory_limit)
    try:
        found = engine.rows(
            con,
            f"select source_id, line_no, reason, field, raw from ({_selected(store, wanted, reason)}) "
            f"order by source_id, line_no limit {int(limit)}",
        )
    finally:
        con.close()
    names = ("line_no", "reason", "field", "raw")
    return [{"source": wanted[row[0]].name, **dict(zip(names, row[1:], strict=True))} for row in found]


def _selected(store: Store, sources: Collection[int], reason: str) -> str:
    ids = ", ".join(str(number) for number in sorted(sources)) or "-1"
    only = f" and reason = {engine.literal(reason)}" if reason else ""
    return f"select * from ({relation(store, 'rejects')}) where source_id in ({ids}){only}"


def _sources(store: Store, name: str) -> list[Source]:
    held = store.catalog.sources()
    found = [one for one in held if name in ("", one.name) or one.name.endswith(f"/{name}")]
    if name and not found:
        near = ", ".join(sorted(one.name.rpartition("/")[2] for one in held if one.n_rejects)[:5]) or "none"
        raise UsageProblem(f"no export taken in is called {name}", next_step=f"with rejects are: {near}")
    return found
