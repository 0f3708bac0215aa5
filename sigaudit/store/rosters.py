"""Roster versions in the store: saved once, found again by the instant an audit speaks for."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from sigaudit.errors import StoreProblem, UsageProblem
from sigaudit.store.catalog import LiveFile
from sigaudit.store.opening import Store
from sigaudit.store.roster_tables import ACCUMULATING, VERSIONED, Roster, RosterFile, RosterTables, empty
from sigaudit.store.roster_versions import (
    RosterMeta,
    accumulated,
    as_known_at,
    digest,
    in_force_at,
    midnight_utc,
)

__all__ = ["RosterMeta", "SavedRoster", "in_force", "save", "versions"]

_KIND = "roster"
_TABLE = """
create table if not exists rosters (
    version integer primary key, valid_from text, valid_from_utc text, loaded_on text not null,
    digest text not null, files text not null
)
"""


@dataclass(frozen=True)
class SavedRoster:
    """What saving came to: the version that holds this roster, and whether it is a new one.

    spans_added, visits_added: rows of on_test and visits that were not held before.
    """

    version: int
    is_new: bool
    valid_from: dt.date | None
    spans_added: int
    visits_added: int


def save(store: Store, roster: Roster, valid_from: dt.date | None, day: dt.date) -> SavedRoster:
    """Saves a roster as a version; its on_test spans and visits join those of earlier loads.

    The first roster counts from the beginning of time, a later one from ``valid_from`` or, without
    one, from ``day``, the local day of loading. A roster equal to the one in force then adds no
    version. Raises StoreBusy, StoreProblem.
    """
    with store.writing("roster"):
        held = versions(store)
        begins = midnight_utc(valid_from or day, roster.timezone) if held else None
        content = digest(roster.tables)
        current = in_force_at(held, begins) if begins else None
        is_new = current is None or current.digest != content
        if current is None or is_new:
            current = RosterMeta(
                version=max((meta.version for meta in held), default=0) + 1,
                valid_from=(valid_from or day) if held else None,
                valid_from_utc=begins,
                loaded_on=day,
                digest=content,
                files=roster.files,
            )
        add: list[LiveFile] = []
        drop: list[LiveFile] = []
        if is_new:
            for name in VERSIONED:
                add += _placed(store, roster.tables[name], _tag(current.version, name))
        grown = {}
        for name in ACCUMULATING:
            before = _read(store, name, name)
            after = accumulated(name, [before, roster.tables[name]])
            grown[name] = after.num_rows - before.num_rows
            if not after.equals(before):
                drop += store.files(_KIND, tag=name)
                add += _placed(store, after, name)
        if is_new or add:
            store.commit(add=add, drop=drop, catalog_changes=lambda con: _put(con, current))
    return SavedRoster(current.version, is_new, current.valid_from, grown["on_test"], grown["visits"])


def versions(store: Store) -> list[RosterMeta]:
    """Every version, in order of loading; empty before the first roster."""
    with store.catalog.connection() as con:
        known = con.execute("select 1 from sqlite_master where type = 'table' and name = 'rosters'").fetchone()
        rows = con.execute("select * from rosters order by version").fetchall() if known else []
    return [_meta(row) for row in rows]


def in_force(store: Store, as_of_utc: dt.datetime) -> tuple[RosterTables, RosterMeta]:
    """The roster valid at an instant (naive UTC): its tables by name, and which version it is.

    on_test and visits come from all loads, without what lies after the instant. Raises
    UsageProblem when no roster was ever loaded, StoreProblem when a file of it is gone.
    """
    meta = in_force_at(versions(store), as_of_utc)
    if meta is None:
        raise UsageProblem("the store holds no roster", next_step="load it first: sigaudit roster FOLDER")
    tables = {name: _read(store, name, _tag(meta.version, name)) for name in VERSIONED}
    for name in ACCUMULATING:
        tables[name] = as_known_at(name, _read(store, name, name), as_of_utc)
    return tables, meta


def _tag(version: int, name: str) -> str:
    return f"v{version:04d}-{name}"


def _placed(store: Store, table: pa.Table, tag: str) -> list[LiveFile]:
    def write(path: Path) -> None:
        pq.write_table(table, path, compression="zstd")

    placed = store.place(_KIND, write, tag=tag)
    return [] if placed is None else [placed]


def _read(store: Store, name: str, tag: str) -> pa.Table:
    """The table a tag stands for; without rows when no file is listed, for empty ones are not kept."""
    files = store.files(_KIND, tag=tag)
    if not files:
        return empty(name)
    path = store.root / files[0].path
    try:
        return pq.read_table(path, partitioning=None)
    except (OSError, pa.ArrowInvalid) as error:
        raise StoreProblem(f"{path}: cannot be read: {error}", next_step="restore it from a copy") from error


def _put(con: sqlite3.Connection, meta: RosterMeta) -> None:
    con.execute(_TABLE)
    con.execute(
        "insert or replace into rosters values (?, ?, ?, ?, ?, ?)",
        (
            meta.version,
            meta.valid_from and meta.valid_from.isoformat(),
            meta.valid_from_utc and meta.valid_from_utc.isoformat(" "),
            meta.loaded_on.isoformat(),
            meta.digest,
            json.dumps([[file.name, file.sha256] for file in meta.files]),
        ),
    )


def _meta(row: sqlite3.Row) -> RosterMeta:
    valid_from, begins = row["valid_from"], row["valid_from_utc"]
    return RosterMeta(
        version=row["version"],
        valid_from=valid_from and dt.date.fromisoformat(valid_from),
        valid_from_utc=begins and dt.datetime.fromisoformat(begins),
        loaded_on=dt.date.fromisoformat(row["loaded_on"]),
        digest=row["digest"],
        files=tuple(RosterFile(name, sha256) for name, sha256 in json.loads(row["files"])),
    )
