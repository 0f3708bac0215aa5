"""Signals made by hand, and what the shipped queries make of them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

import pyarrow as pa

from sigaudit.store import code_table, engine_duckdb
from sigaudit.store.facts import PANEL_TIMES
from sigaudit.store.relations import SIGNALS
from sigaudit.store.shipped import query

NOON = datetime(2026, 11, 17, 12)
TYPES = {"timestamp": pa.timestamp("us"), "boolean": pa.bool_(), "integer": pa.int32(), "bigint": pa.int64()}
SCHEMA = pa.schema([(name, TYPES.get(type_, pa.string())) for name, type_ in SIGNALS.items()])


def signal(at_s: float, event: str, **more: Any) -> dict[str, Any]:
    row: dict[str, Any] = {name: "" for name in SIGNALS if SCHEMA.field(name).type == pa.string()}
    row |= {
        "account_key": "main/1234", "account": "1234", "received_utc": NOON + timedelta(seconds=at_s),
        "time_doubt": "exact", "edge_doubt": False, "receiver": "1", "line": "1", "event_raw": event,
        "qualifier": event[0], "code": event[1:], "format": "contact_id", "partition": "1", "zone": "001",
        "source_id": 1, "part": 1,
    }  # fmt: skip
    return row | more


def events(rows: Iterable[dict[str, Any]], sql: str = "") -> list[dict[str, Any]]:
    """The events of these signals in their order, or ``sql`` over the table ``e`` of them."""
    numbered = [{**row, "line_no": row.get("line_no", i)} for i, row in enumerate(rows, start=1)]
    con = engine_duckdb.connect(threads=1)
    try:
        engine_duckdb.create(con, "signals", pa.Table.from_pylist(numbered, schema=SCHEMA))
        code_table.load(con)
        engine_duckdb.run(con, f"create temp table e as {query('events/events')}")
        engine_duckdb.run(con, f"create temp table panel_times as {PANEL_TIMES.format(signals='signals')}")
        found: list[dict[str, Any]] = engine_duckdb.arrow(con, sql or "from e order by line_no, part").to_pylist()
        return found
    finally:
        con.close()
