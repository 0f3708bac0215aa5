"""The catalog: what the store holds, and the only place where a change becomes true.

One SQLite file, ``catalog.sqlite``: schema version, sources, receiver lines per source, the list of live
Parquet files. A transaction here is the commit point of the whole store; Parquet that is not listed does
not exist. Other rooms keep their own tables in the same file: ``with catalog.connection() as con``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sigaudit.errors import StoreMissing, StoreOtherVersion, StoreProblem
from sigaudit.store import migrating

__all__ = ["KINDS", "SCHEMA_VERSION", "Catalog", "LiveFile", "Source", "SourceLine"]

SCHEMA_VERSION = migrating.LATEST
KINDS = ("signals", "rejects", "lineage", "facts", "runs", "roster")

# The first version's tables; what came later is a step in ``migrating``.
_SCHEMA = """
create table store (schema_version integer not null);
create table files (
    path text primary key, kind text not null, month text not null, tag text not null,
    rows integer not null, bytes integer not null, sha256 text not null
);
create index files_by_kind on files (kind, month);
create table dropped (path text primary key, dropped_at real not null);
create table sources (
    source_id integer primary key, name text not null, sha256 text not null unique, bytes integer not null,
    head_sha256 text not null, lines integer not null, next_line integer not null,
    layout text not null, first_utc text, last_utc text,
    first_second text, last_second text, resolution_s integer not null,
    n_signals integer not null, n_repeats integer not null,
    n_rejects integer not null, n_skipped integer not null, provisional_line integer not null,
    provisional_byte integer not null, provisional_skipped integer not null, repeated_hour integer not null
);
create table source_prefixes (
    source_id integer not null, bytes integer not null, sha256 text not null, primary key (source_id, bytes)
);
create table source_lines (
    source_id integer not null, receiver text not null, line text not null, n integer not null,
    first_utc text, last_utc text, primary key (source_id, receiver, line)
);
"""


@dataclass(frozen=True)
class LiveFile:
    """A listed Parquet file; ``path`` is relative to the store, with forward slashes."""

    path: str
    kind: str
    month: str
    tag: str
    rows: int
    bytes: int
    sha256: str


@dataclass(frozen=True)
class Source:
    """One export as taken in. lines = n_signals + n_repeats + n_rejects + n_skipped.

    n_more: events beyond the first of the lines that are signals; n_signals + n_more rows lie in the store.
    name: as given, forward slashes. sha256, bytes: of the decompressed content; head_sha256: of its
    first 4096 bytes. first_utc, last_utc: its first and last signal, naive UTC, None without signals.
    next_line: number of the first line after it (a quoted record can run over several).
    first_second, last_second: the same in whole seconds, with a repeated hour counted as its first pass.
    resolution_s: 60 where only whole minutes occur, else 1. provisional_line: from this line on the
    content may still change when the file grows (0: nothing is open); provisional_byte: where it begins;
    provisional_skipped: how many of n_skipped stand there.
    repeated_hour: it holds lines from an hour that a clock change repeats.
    """

    source_id: int
    name: str
    sha256: str
    bytes: int
    head_sha256: str
    lines: int
    next_line: int
    layout: str
    first_utc: datetime | None
    last_utc: datetime | None
    first_second: datetime | None
    last_second: datetime | None
    resolution_s: int
    n_signals: int
    n_more: int
    n_repeats: int
    n_rejects: int
    n_skipped: int
    provisional_line: int
    provisional_byte: int
    provisional_skipped: int
    repeated_hour: bool


@dataclass(frozen=True)
class SourceLine:
    """What one source holds of one receiver line: signals and repeats together."""

    source_id: int
    receiver: str
    line: str
    n: int
    first_utc: datetime | None
    last_utc: datetime | None


class Catalog:
    """``catalog.sqlite`` of a store folder."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @classmethod
    def open(cls, path: Path, *, create: bool = False) -> Catalog:
        """The catalog, made when ``create`` says so; one of an older version has still to be brought forward.

        Raises StoreMissing, StoreOtherVersion, StoreProblem.
        """
        catalog = cls(path)
        if not path.exists():
            if not create:
                raise StoreMissing(f"no store at {path.parent}", next_step="take in an export: sigaudit ingest FILE")
            path.parent.mkdir(parents=True, exist_ok=True)
            with catalog.connection() as con:
                con.execute("begin immediate")
                if not _has_table(con, "store"):
                    for statement in _SCHEMA.split(";"):
                        con.execute(statement)
                    con.execute("insert into store values (?)", (migrating.FIRST,))
                    migrating.migrate(con)
                con.execute("commit")
        found = catalog.version()
        if not migrating.FIRST <= found <= SCHEMA_VERSION:
            raise StoreOtherVersion(
                f"{path}: the store has version {found}, this program works with version {SCHEMA_VERSION}",
                next_step="use the program that made it, or take the exports in again into a new workspace",
            )
        return catalog

    @contextmanager
    def connection(self) -> Iterator[sqlite3.Connection]:
        """A connection without an open transaction (rows by name); begin and commit are the caller's."""
        try:
            with closing(sqlite3.connect(self.path, isolation_level=None, timeout=30)) as con:
                con.row_factory = sqlite3.Row
                con.execute("pragma synchronous = full")
                yield con
        except sqlite3.OperationalError as error:
            raise StoreProblem(f"{self.path}: {error}", next_step="see whether the folder can be written") from error
        except sqlite3.DatabaseError as error:
            raise StoreProblem(
                f"{self.path}: this is no catalog: {error}", next_step="restore the store folder from a copy"
            ) from error

    def commit(
        self,
        add: Iterable[LiveFile],
        drop: Iterable[str],
        changes: Callable[[sqlite3.Connection], None] | None,
        now: float,
    ) -> None:
        """Lists ``add``, unlists ``drop`` and applies ``changes``: all of it or nothing."""
        with self.connection() as con:
            con.execute("begin immediate")
            try:
                for path in drop:
                    con.execute("delete from files where path = ?", (path,))
                    con.execute("insert or replace into dropped values (?, ?)", (path, now))
                for file in add:
                    con.execute("delete from dropped where path = ?", (file.path,))
                    con.execute(
                        "insert or replace into files values (?, ?, ?, ?, ?, ?, ?)",
                        (file.path, file.kind, file.month, file.tag, file.rows, file.bytes, file.sha256),
                    )
                if changes is not None:
                    changes(con)
                con.execute("commit")
            except BaseException:
                con.execute("rollback")
                raise

    def files(self) -> list[LiveFile]:
        """Every live file, in order of kind, month, path."""
        with self.connection() as con:
            found = con.execute(
                "select path, kind, month, tag, rows, bytes, sha256 from files order by kind, month, path"
            )
            return [LiveFile(*row) for row in found]

    def sources(self) -> list[Source]:
        """Every source, in order of its id."""
        with self.connection() as con:
            return [_source(dict(row)) for row in con.execute("select * from sources order by source_id")]

    def source_lines(self) -> list[SourceLine]:
        """What every source holds, by source, receiver and line."""
        with self.connection() as con:
            found = con.execute("select * from source_lines order by source_id, receiver, line")
            return [
                SourceLine(r["source_id"], r["receiver"], r["line"], r["n"], _at(r["first_utc"]), _at(r["last_utc"]))
                for r in found
            ]

    def prefixes(self) -> list[tuple[int, int, str]]:
        """(source_id, bytes, sha256) of shorter states that sources once had."""
        with self.connection() as con:
            return [tuple(row) for row in con.execute("select source_id, bytes, sha256 from source_prefixes")]

    def version(self) -> int:
        """The version of its tables. Raises StoreOtherVersion when this is no store."""
        with self.connection() as con:
            if not _has_table(con, "store"):
                raise StoreOtherVersion(f"{self.path}: no store of this program", next_step="name another workspace")
            return int(con.execute("select schema_version from store").fetchone()[0])


_TIMES = ("first_utc", "last_utc", "first_second", "last_second")


def put_source(con: sqlite3.Connection, source: Source) -> None:
    """Inside a commit: writes a source, or what a grown one has become."""
    values: dict[str, Any] = dict(vars(source))
    for name in _TIMES:
        values[name] = None if values[name] is None else values[name].isoformat(" ")
    marks = ", ".join(f":{name}" for name in values)
    con.execute(f"insert or replace into sources ({', '.join(values)}) values ({marks})", values)


def put_source_lines(con: sqlite3.Connection, source_id: int, lines: Iterable[SourceLine]) -> None:
    """Inside a commit: replaces what is known of a source's receiver lines."""
    con.execute("delete from source_lines where source_id = ?", (source_id,))
    con.executemany(
        "insert into source_lines values (?, ?, ?, ?, ?, ?)",
        [
            (
                source_id, row.receiver, row.line, row.n,
                row.first_utc and row.first_utc.isoformat(" "), row.last_utc and row.last_utc.isoformat(" "),
            )
            for row in lines
        ],
    )  # fmt: skip


def _source(row: Mapping[str, Any]) -> Source:
    values = dict(row)
    values.update({name: _at(row[name]) for name in _TIMES})
    values["repeated_hour"] = bool(row["repeated_hour"])
    return Source(**values)


def _at(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def _has_table(con: sqlite3.Connection, name: str) -> bool:
    return con.execute("select 1 from sqlite_master where type = 'table' and name = ?", (name,)).fetchone() is not None
