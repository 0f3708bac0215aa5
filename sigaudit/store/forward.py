"""Brings a store of an older version to this one: its catalog and its Parquet files, in one commit."""

from __future__ import annotations

from functools import partial

import pyarrow.parquet as pq

from sigaudit.store import engine_duckdb as engine
from sigaudit.store import migrating
from sigaudit.store.catalog import LiveFile
from sigaudit.store.opening import Store
from sigaudit.store.relations import LINEAGE, SIGNALS

__all__ = ["bring"]

# What columns that came later hold where nothing was known of them.
_LATER = {"sequence": "''", "part": "0::integer", "more": "0::integer"}


def bring(store: Store) -> None:
    """Writes files without the later columns anew and takes the catalog's missing steps. Inside ``store.writing``."""
    con = engine.connect()
    try:
        add, drop = [], []
        for kind, columns in (("signals", SIGNALS), ("lineage", LINEAGE)):
            for file in store.files(kind):
                made = _widened(con, store, file, tuple(columns))
                if made is not None:
                    add.append(made)
                    drop.append(file)
    finally:
        con.close()
    store.commit(add=add, drop=drop, catalog_changes=migrating.migrate)


def _widened(con: engine.Connection, store: Store, file: LiveFile, columns: tuple[str, ...]) -> LiveFile | None:
    """The file with all columns, in its own order; None where it has them."""
    path = store.root / file.path
    has = set(pq.read_schema(path).names)
    if has >= set(columns):
        return None
    names = ", ".join(
        engine.identifier(name) if name in has else f"{_LATER[name]} as {engine.identifier(name)}" for name in columns
    )
    sql = f"select {names} from {engine.read_parquet([path])}"
    return store.place(file.kind, partial(engine.copy_to_parquet, con, sql), month=file.month, tag=file.tag)
