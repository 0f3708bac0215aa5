"""The store: one commit point, one writer, files never overwritten, readers keep their list."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from sigaudit.errors import StoreBusy, StoreMissing, StoreOtherVersion, StoreProblem
from sigaudit.store import engine_duckdb as engine
from sigaudit.store import partitions
from sigaudit.store.opening import Store, open_store
from sigaudit.store.relations import LINEAGE, REJECTS, SIGNALS, relation, signals_relation


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path / "store", create=True)


def numbers(store: Store, first: int, n: int = 3, month: str = "2026-11"):
    con = engine.connect(threads=1)
    sql = f"select range as i from range({first}, {first + n})"
    return store.place("facts", partial(engine.copy_to_parquet, con, sql), month=month)


def test_a_missing_store_is_one_sentence_and_is_not_made(tmp_path):
    with pytest.raises(StoreMissing):
        open_store(tmp_path / "store")
    assert not (tmp_path / "store").exists()


def test_files_count_once_committed_and_are_named_by_their_content(store):
    with store.writing("test"):
        a, b, twin = numbers(store, 0), numbers(store, 10, month="2026-12"), numbers(store, 0)
        assert a == twin and a.path.startswith("facts/month=2026-11/") and a.rows == 3
        assert store.live("facts") == []
        store.commit(add=[a, b])
    assert store.live("facts", "2026-12") == [store.root / b.path]
    assert store.months("facts") == ["2026-11", "2026-12"]
    assert partitions.sha256_of(store.root / a.path) == a.sha256
    assert numbers(store, 0, 0) is None  # no rows, no file


def test_a_failed_commit_leaves_the_old_store(store):
    def fail(con: sqlite3.Connection) -> None:
        con.execute("insert into source_prefixes values (1, 1, 'x')")
        raise RuntimeError("power cut")

    with store.writing("test"):
        a = numbers(store, 0)
        store.commit(add=[a])
        before = store.fingerprint("facts")
        with pytest.raises(RuntimeError, match="power cut"):
            store.commit(add=[numbers(store, 50)], drop=[a], catalog_changes=fail)
    store.refresh()
    assert store.fingerprint("facts") == before and store.live("facts") == [store.root / a.path]
    assert store.catalog.prefixes() == []


def test_a_reader_keeps_the_list_it_took(store):
    with store.writing("test"):
        a = numbers(store, 0)
        store.commit(add=[a])
        reader = open_store(store.root)
        assert len(reader.live("facts")) == 1
        store.commit(add=[numbers(store, 10)], drop=[a])
    assert reader.live("facts") == [reader.root / a.path]  # still there, still readable
    reader.refresh()
    assert reader.live("facts") == store.live("facts") != [reader.root / a.path]


def test_what_is_not_listed_is_swept_a_day_later(store):
    with store.writing("test"):
        a, orphan = numbers(store, 0), numbers(store, 50)
        store.commit(add=[a])
        store.commit(drop=[a])
        now = time.time()
        assert partitions.sweep(store.root, store.catalog, ["facts"], now) == 0
        assert partitions.sweep(store.root, store.catalog, ["facts"], now + partitions.SWEEP_AFTER_S + 9) == 2
    assert not (store.root / a.path).exists() and not (store.root / orphan.path).exists()


def test_commit_without_the_lock_is_our_bug(store):
    with pytest.raises(RuntimeError):
        store.commit()


def test_a_second_writer_is_told_who_has_the_store_and_since_when(store):
    code = (
        "import sys, time; from pathlib import Path; from sigaudit.store.opening import open_store\n"
        "with open_store(Path(sys.argv[1])).writing('ingest'):\n    print('mine', flush=True); time.sleep(30)"
    )
    root = Path(__file__).resolve().parents[2]
    child = subprocess.Popen(
        [sys.executable, "-c", code, str(store.root)],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(root)},
    )
    try:
        assert child.stdout is not None and child.stdout.readline().strip() == b"mine"
        with (
            pytest.raises(StoreBusy, match=rf"in use by .* \(process {child.pid}, ingest\) for 0 min \d+ s"),
            store.writing("x"),
        ):
            pass
        assert store.files("facts") == []  # reading needs no lock
    finally:
        child.kill()
        child.wait()
    with store.writing("after the other one died"):
        pass


def test_another_version_is_refused(store):
    with store.catalog.connection() as con:
        con.execute("update store set schema_version = 99")
    with pytest.raises(StoreOtherVersion, match="version 99"):
        open_store(store.root)


def test_a_catalog_that_is_none_is_one_sentence(tmp_path):
    (tmp_path / "catalog.sqlite").write_bytes(b"this is no database at all, not even nearly" * 50)
    with pytest.raises(StoreProblem, match="no catalog"):
        open_store(tmp_path)


def test_a_listed_file_that_is_gone_is_one_sentence(store):
    with store.writing("test"):
        a = numbers(store, 0)
        store.commit(add=[a])
    (store.root / a.path).unlink()
    with pytest.raises(StoreProblem, match="missing"):
        store.live("facts")


@pytest.mark.parametrize(("kind", "columns"), [("signals", SIGNALS), ("rejects", REJECTS), ("lineage", LINEAGE)])
def test_an_empty_store_has_typed_empty_tables(store, kind, columns):
    con = engine.connect(threads=1)
    described = engine.rows(con, f"describe {relation(store, kind)}")
    assert {row[0]: row[1].lower() for row in described} == columns
    assert engine.rows(con, signals_relation(store, ["2026-11"])) == []


def test_the_note_of_a_writer_is_json(store):
    with store.writing("audit"):
        assert json.loads((store.root / "writer.json").read_text(encoding="utf-8"))["what"] == "audit"
    assert not (store.root / "writer.json").exists()
