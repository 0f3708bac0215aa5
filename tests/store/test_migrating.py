"""A store of an older version is brought to this one in place: nothing in it changes, and all of it or nothing."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from sigaudit.errors import StoreBusy, StoreOtherVersion, StoreProblem
from sigaudit.store import heads, migrating
from sigaudit.store.catalog import SCHEMA_VERSION
from sigaudit.store.opening import open_store
from tests.reading.small_station import Station, csv

# The tables of version 1, as its stores have them; never changed.
VERSION_1 = """
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
insert into store values (1);
insert into sources values (1, 'a.csv', 'abc', 700, 'def', 9, 10, 'plain', '2026-11-02 05:00:00', '2026-11-02 06:00:00',
    '2026-11-02 05:00:00', '2026-11-02 06:00:00', 60, 6, 1, 1, 1, 0, 0, 0, 0);
insert into source_lines values (1, '1', '2', 7, '2026-11-02 05:00:00', '2026-11-02 06:00:00');
insert into source_prefixes values (1, 300, 'ghi');
"""
# Columns of version 1 are those of the sources above, in their order.
COLUMNS = (
    "source_id, name, sha256, bytes, head_sha256, lines, next_line, layout, first_utc, last_utc, first_second, "
    "last_second, resolution_s, n_signals, n_repeats, n_rejects, n_skipped, provisional_line, provisional_byte, "
    "provisional_skipped, repeated_hour"
)


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """The folder of a store of version 1."""
    with sqlite3.connect(tmp_path / "catalog.sqlite") as con:
        con.executescript(VERSION_1)
    con.close()
    return tmp_path


def shape(folder: Path) -> dict[str, set[str]]:
    """Columns by table."""
    with sqlite3.connect(folder / "catalog.sqlite") as con:
        tables = [row[0] for row in con.execute("select name from sqlite_master where type = 'table'")]
        found = {table: {row[1] for row in con.execute(f"pragma table_info({table})")} for table in tables}
    con.close()
    return found


def content(folder: Path) -> list[object]:
    with sqlite3.connect(folder / "catalog.sqlite") as con:
        found = [con.execute(f"select {COLUMNS} from sources").fetchall()]
        found += [con.execute(f"select * from {table}").fetchall() for table in ("source_lines", "source_prefixes")]
    con.close()
    return found  # type: ignore[return-value]


def test_an_old_store_becomes_what_a_new_one_is(old, tmp_path):
    before = content(old)
    store = open_store(old)
    assert store.catalog.version() == SCHEMA_VERSION > 1
    assert content(old) == before
    open_store(tmp_path / "new", create=True)
    assert shape(old) == shape(tmp_path / "new")
    (source,) = store.catalog.sources()
    assert (source.name, source.lines, source.n_rejects, source.repeated_hour) == ("a.csv", 9, 1, False)
    assert store.catalog.prefixes() == [(1, 300, "ghi")] and heads.kept(store.catalog) == set()


def test_it_is_done_once(old):
    open_store(old)
    before = (old / "catalog.sqlite").read_bytes()
    open_store(old)
    assert (old / "catalog.sqlite").read_bytes() == before


def test_a_step_that_fails_leaves_the_old_version_whole(old, monkeypatch):
    before, was = content(old), shape(old)
    steps = {**migrating.STEPS, 1: (*migrating.STEPS[1], "this is no statement")}
    with monkeypatch.context() as patched:
        patched.setattr(migrating, "STEPS", steps)
        with pytest.raises(StoreProblem, match="syntax error"):
            open_store(old)
    assert (content(old), shape(old)) == (before, was)
    assert open_store(old).catalog.version() == SCHEMA_VERSION


def test_a_store_somebody_writes_to_is_not_changed_under_his_hands(old, monkeypatch):
    before = shape(old)
    monkeypatch.setattr("sigaudit.store.opening.MIGRATION_WAIT_S", 0.1)
    from filelock import FileLock

    with FileLock(old / "writer.lock"), pytest.raises(StoreBusy):
        open_store(old)
    assert shape(old) == before


def test_a_version_before_the_first_is_refused(old):
    with sqlite3.connect(old / "catalog.sqlite") as con:
        con.execute("update store set schema_version = 0")
    con.close()
    with pytest.raises(StoreOtherVersion, match="version 0"):
        open_store(old)


def test_files_are_taken_in_as_before(old):
    station = Station(old / "station")
    with station.store.catalog.connection() as con:
        con.execute("drop table source_heads")
        con.execute("update store set schema_version = 1")
    again = Station(old / "station")
    result = again.take(("a.csv", csv("2026-11-02T08:15:30,1,1,7,E130,01,001")))
    assert result.sum.signals == 1 and heads.kept(again.store.catalog) == {1}
