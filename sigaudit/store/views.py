"""The documented views: what ``sigaudit sql`` and the Python entry may read, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import pyarrow as pa

from sigaudit.errors import UsageProblem
from sigaudit.store import code_table, engine_duckdb, rosters, runs
from sigaudit.store.engine_duckdb import identifier, literal, read_parquet
from sigaudit.store.facts import FACTS, nothing_of
from sigaudit.store.opening import Store
from sigaudit.store.relations import relation, signals_relation
from sigaudit.store.shipped import query

ROSTER = ("accounts", "paths", "zones", "on_test", "visits", "dealers")
RUN = (
    "findings", "verdicts", "incidents", "unprotected", "first_misses", "weighed", "figures", "weeks", "stragglers",
    "resolved", "requirements", "coverage", "causes", "cause_evidence",
)  # fmt: skip


def definitions(store: Store, week: str = "") -> dict[str, str]:
    """View name -> select: signals, events, rejects, sources, codes, facts, the last roster, one run's tables.

    week: ``2026-W47``; default the latest week judged. Raises UsageProblem for a week without an audit.
    """
    made = {
        "signals": signals_relation(store),
        "rejects": relation(store, "rejects"),
        "lineage": relation(store, "lineage"),
        "sources": _values([dict(vars(source)) for source in store.catalog.sources()]),
        "source_lines": _values([dict(vars(line)) for line in store.catalog.source_lines()]),
        "codes": _values(code_table.rows()),
        "events": query("events/events"),
    }
    for fact in FACTS:
        files = [store.root / f.path for f in store.files("facts") if f.tag.startswith(f"{fact}.")]
        if files:
            made[fact] = f"select * from {read_parquet(files)}"
        elif store.files("facts"):
            made[fact] = _nothing(store, fact)
    held = rosters.versions(store)
    if held:
        tables, _ = rosters.in_force(store, datetime.max)
        made |= {name: _values(tables[name].to_pylist(), tables[name].schema) for name in ROSTER if name in tables}
    label = week or next(reversed(runs.labels(store)), "")
    run = runs.latest(store, label) if label else None
    if week and run is None:
        raise UsageProblem(f"{week} has no audit yet", next_step=f"sigaudit audit --week {week}")
    if run is not None:
        for name in RUN:
            if name in run.files:
                made[name] = f"select * from {read_parquet([run.files[name]])}"
            elif run.has(name):
                made[name] = _values([], run.table(name).schema)
    return made


def ask(store: Store, text: str, *, week: str = "", memory_limit: str) -> list[dict[str, Any]]:
    """Rows of one read-only select over the views.

    Raises UsageProblem: not exactly one select, or it cannot be run; nothing outside the store can be read.
    """
    found: list[dict[str, Any]] = answer(store, text, week=week, memory_limit=memory_limit).to_pylist()
    return found


def answer(store: Store, text: str, *, week: str = "", memory_limit: str) -> pa.Table:
    """The same as an Arrow table."""
    statement = engine_duckdb.one_select(text)
    views = definitions(store, week)
    _refuse_what_is_not_yet(text, views)
    con = engine_duckdb.locked_connection(views, [store.root], memory_limit=memory_limit)
    with con:
        return engine_duckdb.asked(con, statement)


def _refuse_what_is_not_yet(text: str, views: Mapping[str, str]) -> None:
    """A view that only an audit or a roster brings is named, rather than the engine's missing table."""
    words = set(re.findall(r"\w+", text.lower()))
    for names, what, command in (
        (RUN, "audit has been made", "sigaudit audit"),
        (ROSTER, "roster is loaded", "sigaudit roster FOLDER"),
    ):
        missing = sorted(words & set(names) - set(views))
        if missing and not set(names) & set(views):
            raise UsageProblem(f"{missing[0]}: no {what} yet", next_step=command)


def _nothing(store: Store, fact: str) -> str:
    """The columns of a fact that no signal led to."""
    with engine_duckdb.connect() as con:
        code_table.load(con)
        return _values([], engine_duckdb.arrow(con, nothing_of(store, fact)).schema)


def _values(rows: Sequence[Mapping[str, Any]], schema: pa.Schema | None = None) -> str:
    """Rows as a select without a file behind it; typed and empty where there are none."""
    table = pa.Table.from_pylist([dict(row) for row in rows], schema=schema)
    names = table.schema.names
    types = [_TYPES.get(str(field.type), "varchar") for field in table.schema]
    casts = ", ".join(f"cast({identifier(n)} as {t}) as {identifier(n)}" for n, t in zip(names, types, strict=True))
    if not len(table):
        blank = ", ".join(f"cast(null as {t}) as {identifier(n)}" for n, t in zip(names, types, strict=True))
        return f"select {blank or 'null as nothing'} where false"
    listed = ", ".join(f"({', '.join(_constant(row[n]) for n in names)})" for row in table.to_pylist())
    return f"select {casts} from (values {listed}) as t({', '.join(identifier(n) for n in names)})"


_TYPES = {
    "int64": "bigint", "int32": "integer", "double": "double", "bool": "boolean", "timestamp[us]": "timestamp",
    "date32[day]": "date",
}  # fmt: skip


def _constant(value: Any) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    return literal(str(value).replace("\0", ""))


__all__ = ["RUN", "answer", "ask", "definitions"]
