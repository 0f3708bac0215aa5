"""Brings the catalog of an older store to the version of this program, in place.

A step is what one version adds to the one before. A new catalog is made of the first version's tables and all
steps, so that an old store brought forward and a new one are alike.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

__all__ = ["FIRST", "LATEST", "STEPS", "migrate"]

FIRST = 1
STEPS: Mapping[int, tuple[str, ...]] = {
    # Lines that say several events.
    1: ("alter table sources add column n_more integer not null default 0",),
    # The beginnings of contents: what a layout is laid on when rejected lines are read again.
    2: ("create table source_heads (source_id integer primary key, head blob not null)",),
}
LATEST = FIRST + len(STEPS)


def migrate(con: sqlite3.Connection) -> None:
    """Takes the steps that are missing. Only inside a transaction: all of them, or none."""
    (found,) = con.execute("select schema_version from store").fetchone()
    for version in range(int(found), LATEST):
        for statement in STEPS[version]:
            con.execute(statement)
    con.execute("update store set schema_version = ?", (LATEST,))
