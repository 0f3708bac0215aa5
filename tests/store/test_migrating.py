"""A store of an older version is brought to this one in place: nothing in it changes, and all of it or nothing."""

from __future__ import annotations

import sqlite3
from functools import partial
from pathlib import Path

import pytest
from pyarrow import parquet as pq

from sigaudit.errors import StoreBusy, StoreOtherVersion, StoreProblem
from sigaudit.store import engine_duckdb as engine
from sigaudit.store import heads, migrating
from sigaudit.store.catalog import SCHEMA_VERSION
from sigaudit.store.opening import open_store
from sigaudit.store.relations import SIGNALS
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


def as_version_1(station: Station) -> None:
    """Makes a store of this version one of version 1: files without the later columns, the older catalog."""
    later = {"sequence", "part", "more"}
    con = engine.connect(threads=1)
    add, drop = [], []
    with station.store.writing("test"):
        for kind in ("signals", "lineage"):
            for file in station.store.files(kind):
                path = station.store.root / file.path
                names = ", ".join(f'"{name}"' for name in pq.read_schema(path).names if name not in later)
                sql = f"select {names} from {engine.read_parquet([path])}"
                write = partial(engine.copy_to_parquet, con, sql)
                made = station.store.place(kind, write, month=file.month, tag=file.tag)
                add.append(made)
                drop.append(file)
        station.store.commit(add=[file for file in add if file is not None], drop=drop)
    con.close()
    with station.store.catalog.connection() as catalog:
        catalog.execute("drop table source_heads")
        catalog.execute("alter table sources drop column n_more")
        catalog.execute("update store set schema_version = 1")


def everything(station: Station) -> tuple[object, ...]:
    lineage = station.rows("select * from t order by all", "lineage")
    return station.signals(list(SIGNALS)), lineage, station.rejects(), station.store.catalog.sources()


def test_files_get_the_columns_that_came_later(old):
    """And reading goes on: a grown file, an overlapping one, and rejects once their beginning is known."""
    lines = [f"2026-11-{day:02d}T08:15:30,1,1,7,E130,01,001" for day in range(1, 31)]
    small = Station(old / "station")
    small.take(("a.csv", csv(*lines[:20], "nonsense")))
    before = everything(small)
    as_version_1(small)
    small = Station(old / "station")
    assert everything(small) == before
    assert small.take(("a.csv", csv(*lines[:20], "nonsense", *lines[20:]))).sum.signals == 10
    assert small.take(("b.csv", csv(*lines[10:], "2026-12-01T08:15:30,1,1,7,E130,01,001"))).sum.repeats == 20
    assert len(small.signals()) == 31 and heads.kept(small.store.catalog) == {1, 2}


def test_a_crash_while_files_are_written_leaves_the_old_store(old, monkeypatch):
    small = Station(old / "station")
    small.take(("a.csv", csv("2026-11-02T08:15:30,1,1,7,E130,01,001")))
    before = everything(small)
    as_version_1(small)

    def power_cut(*_: object) -> None:
        raise RuntimeError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr("sigaudit.store.forward.migrating.migrate", power_cut)
        with pytest.raises(RuntimeError, match="power cut"):
            Station(old / "station")
    assert small.store.catalog.version() == 1
    assert everything(Station(old / "station")) == before
