"""Signals follow the receiver map: when it changes, what is held gets the new account keys.

The map ``[receivers]`` decides under which group an account's digits count and which numbers are a
receiver speaking of itself. Signals carry the answer; this room brings them up to date.
"""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa

from sigaudit.model import ReceiverMap
from sigaudit.store.catalog import LiveFile
from sigaudit.store.engine_duckdb import Connection, connect, copy_to_parquet, create, rows
from sigaudit.store.opening import Store
from sigaudit.store.progress import Progress, over, silent
from sigaudit.store.relations import SIGNALS, signals_relation

_KEYED = "g.receiver_group || '/' || case when o.account is null and s.account <> '' then s.account else '' end"
# A receiver's own line may carry a stated origin; only what this room decided is taken back.
_ORIGIN = (
    "case when o.account is not null or s.account = '' then 'receiver'"
    " when s.origin = 'receiver' and right(s.account_key, 1) = '/' then '' else s.origin end"
)
_JOINED = (
    " from ({relation}) as s inner join groups as g on s.receiver = g.receiver and s.line = g.line"
    " left join own as o on s.account = o.account"
)


def ensure(store: Store, receivers: ReceiverMap, *, memory_limit: str, progress: Progress = silent) -> int:
    """Rewrites the months whose account keys differ from the map; answers how many. Raises StoreBusy."""
    with connect(memory_limit=memory_limit) as con:
        _tables(con, store, receivers)
        waiting = [month for month in store.months("signals") if _differs(con, store, month)]
    if not waiting:
        return 0
    with store.writing("following the receiver map"), store.scratch() as temp:
        for month in over(progress, waiting, "following the receiver map"):
            with connect(memory_limit=memory_limit, temp_dir=temp) as con:
                _tables(con, store, receivers)
                files = _rewritten(con, store, month)
            store.commit(add=files, drop=store.files("signals", month))
    return len(waiting)


def _tables(con: Connection, store: Store, receivers: ReceiverMap) -> None:
    lines = sorted({(line.receiver, line.line) for line in store.catalog.source_lines()})
    text = pa.string()
    groups = [receivers.group_of(receiver, line) for receiver, line in lines]
    create(
        con,
        "groups",
        pa.table(
            {
                "receiver": pa.array([receiver for receiver, _ in lines], text),
                "line": pa.array([line for _, line in lines], text),
                "receiver_group": pa.array(groups, text),
            }
        ),
    )
    create(con, "own", pa.table({"account": pa.array(sorted(receivers.own_accounts), text)}))


def _differs(con: Connection, store: Store, month: str) -> bool:
    joined = _JOINED.format(relation=signals_relation(store, [month]))
    return bool(rows(con, f"select exists (select 1 {joined} where s.account_key <> {_KEYED})")[0][0])


def _rewritten(con: Connection, store: Store, month: str) -> list[LiveFile]:
    joined = _JOINED.format(relation=signals_relation(store, [month]))
    fresh = {"account_key": _KEYED, "receiver_group": "g.receiver_group", "origin": _ORIGIN}
    columns = ", ".join(f"{fresh.get(name, f's.{name}')} as {name}" for name in SIGNALS)

    def write(path: Path) -> None:
        copy_to_parquet(con, f"select {columns} {joined} order by account_key, received_utc, source_id, line_no", path)

    placed = store.place("signals", write, month=month)
    return [] if placed is None else [placed]
