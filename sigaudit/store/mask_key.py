"""The store's own key for stand-in names: made once, never shown, so that nobody outside can guess names back."""

from __future__ import annotations

import secrets
import sqlite3

from sigaudit.store.opening import Store

__all__ = ["mask_key"]

_TABLE = "create table if not exists mask_key (one integer primary key check (one = 1), key blob not null)"


def mask_key(store: Store) -> bytes:
    """32 random bytes, the same at every call on this store. Raises StoreBusy when they have yet to be made."""
    found = _held(store)
    if found is not None:
        return found

    def change(con: sqlite3.Connection) -> None:
        con.execute(_TABLE)
        con.execute("insert or ignore into mask_key values (1, ?)", (secrets.token_bytes(32),))

    with store.writing("making a key for stand-in names", wait_s=10):
        store.commit(catalog_changes=change)
    made = _held(store)
    assert made is not None  # committed a line above
    return made


def _held(store: Store) -> bytes | None:
    with store.catalog.connection() as con:
        known = con.execute("select 1 from sqlite_master where name = 'mask_key'").fetchone()
        row = con.execute("select key from mask_key").fetchone() if known else None
    return bytes(row[0]) if row else None
