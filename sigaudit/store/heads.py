"""The beginnings of the contents taken in: what a layout is laid on when rejected lines are read again."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

from sigaudit.store.catalog import Catalog

__all__ = ["head_of", "kept", "put_heads"]


def put_heads(con: sqlite3.Connection, heads: Mapping[int, bytes]) -> None:
    """Inside a commit: keeps the first bytes of the contents of sources, in place of those kept before."""
    con.executemany("insert or replace into source_heads values (?, ?)", heads.items())


def head_of(catalog: Catalog, source_id: int) -> bytes | None:
    """The first bytes of a source's content; None for one taken in by a version that did not keep them."""
    with catalog.connection() as con:
        found = con.execute("select head from source_heads where source_id = ?", (source_id,)).fetchone()
    return None if found is None else bytes(found[0])


def kept(catalog: Catalog) -> set[int]:
    """Sources whose first bytes are kept."""
    with catalog.connection() as con:
        return {int(row[0]) for row in con.execute("select source_id from source_heads")}
