"""SQL text of what the store holds, for a FROM clause: columns exactly as the table contracts say."""

from __future__ import annotations

from collections.abc import Iterable

from sigaudit.store.engine_duckdb import identifier, read_parquet
from sigaudit.store.opening import Store

__all__ = ["LINEAGE", "REJECTS", "SIGNALS", "relation", "signals_relation"]

SIGNALS: dict[str, str] = {
    "account_key": "varchar", "receiver_group": "varchar", "account": "varchar", "received_utc": "timestamp",
    "received_wall": "varchar", "time_doubt": "varchar", "edge_doubt": "boolean", "receiver": "varchar",
    "line": "varchar", "event_raw": "varchar", "qualifier": "varchar", "code": "varchar", "format": "varchar",
    "partition": "varchar", "zone": "varchar", "panel_time": "varchar", "path": "varchar", "origin": "varchar",
    "called": "varchar", "caller": "varchar", "text": "varchar", "sequence": "varchar", "raw": "varchar",
    "source_id": "integer", "line_no": "bigint", "part": "integer",
}  # fmt: skip
REJECTS: dict[str, str] = {
    "source_id": "integer", "line_no": "bigint", "byte_off": "bigint", "reason": "varchar", "field": "varchar",
    "raw": "varchar", "raw_bytes": "blob",
}  # fmt: skip
LINEAGE: dict[str, str] = {
    "source_id": "integer", "line_no": "bigint", "byte_off": "bigint", "key": "uuid", "second": "timestamp",
    "received_utc": "timestamp", "pass": "tinyint", "time_doubt": "varchar",
    "receiver": "varchar", "line": "varchar", "more": "integer", "held": "boolean",
}  # fmt: skip
_COLUMNS = {"signals": SIGNALS, "rejects": REJECTS, "lineage": LINEAGE}


def relation(store: Store, kind: str, months: Iterable[str] | None = None, *, tag: str | None = None) -> str:
    """A select over the live files of ``signals``, ``rejects`` or ``lineage``; typed and empty without files.

    months: ``2026-11`` and so on, UTC, only for signals; tag: ``s<source_id>`` for one source's
    rejects or lineage; None = all.
    """
    columns = _COLUMNS[kind]
    wanted = None if months is None else set(months)
    listed = [f for f in store.files(kind, tag=tag) if wanted is None or f.month in wanted]
    if not listed:
        empty = ", ".join(f"cast(null as {type_}) as {identifier(name)}" for name, type_ in columns.items())
        return f"select {empty} where false"
    names = ", ".join(identifier(name) for name in columns)
    return f"select {names} from {read_parquet(store.root / file.path for file in listed)}"


def signals_relation(store: Store, months: Iterable[str] | None = None) -> str:
    """The select behind the view ``signals``: exactly the contract's columns, over some UTC months or all."""
    return relation(store, "signals", months)
