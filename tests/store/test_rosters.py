"""Rosters in a real store: versions, accumulated sheets, and what an audit of the past still sees."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from sigaudit.errors import StoreProblem, UsageProblem
from sigaudit.reading.roster import read
from sigaudit.settings import parse
from sigaudit.store.opening import Store, open_store
from sigaudit.store.roster_tables import SCHEMAS, Roster
from sigaudit.store.rosters import in_force, save, versions

SETTINGS = parse('[station]\ntimezone = "America/New_York"\n', Path())
DAY = dt.date(2026, 11, 2)
LATER = dt.datetime(2027, 1, 1)


def roster(at: Path, **sheets: str) -> Roster:
    at.mkdir(exist_ok=True)
    for old in at.glob("*.csv"):
        old.unlink()
    for name, text in sheets.items():
        (at / f"{name}.csv").write_text(text, encoding="utf-8", newline="\n")
    return read(at, SETTINGS)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path / "store", create=True)


ONE = "account,site,note\n0421,Mill,x\n"
TWO = "account,site,note\n0421,Mill,x\n0422,Quay,\n"


def accounts(store: Store, at: dt.datetime) -> list[str]:
    tables, _ = in_force(store, at)
    return [str(key) for key in tables["accounts"].column("account_key").to_pylist()]


def test_what_was_saved_comes_back(tmp_path: Path, store: Store) -> None:
    whole = roster(
        tmp_path / "r",
        accounts=ONE,
        paths="account,path,test_interval\n0421,phone,24h\n",
        zones="account,zone\n0421,1\n",
        on_test="account,from,to\n0421,2026-10-01 08:00,2026-10-01 09:00\n",
        dealers="dealer\nA\n",
        visits="account,visited_on,found\n0421,2026-10-02,no_fault\n",
    )
    saved = save(store, whole, None, DAY)
    assert (saved.version, saved.is_new, saved.valid_from) == (1, True, None)
    assert (saved.spans_added, saved.visits_added) == (1, 1)
    tables, meta = in_force(open_store(store.root), LATER)
    assert {name: table.to_pylist() for name, table in tables.items()} == {
        name: table.to_pylist() for name, table in whole.tables.items()
    }
    assert all(tables[name].schema.equals(whole.tables[name].schema) for name in SCHEMAS)
    assert meta.files == whole.files
    assert (meta.valid_from, meta.loaded_on) == (None, DAY)


def test_later_rosters_count_from_their_day(tmp_path: Path, store: Store) -> None:
    assert save(store, roster(tmp_path / "r", accounts=ONE), dt.date(2026, 10, 1), DAY).valid_from is None
    saved = save(store, roster(tmp_path / "r", accounts=TWO), None, DAY)
    assert (saved.version, saved.valid_from) == (2, DAY)
    begins = dt.datetime(2026, 11, 2, 5)  # midnight in New York after the clock went back on 2026-11-01
    assert accounts(store, dt.datetime(1990, 1, 1)) == ["main/0421"]
    assert accounts(store, begins - dt.timedelta(seconds=1)) == ["main/0421"]
    assert accounts(store, begins) == ["main/0421", "main/0422"]
    back = save(store, roster(tmp_path / "r", accounts=ONE), dt.date(2026, 12, 1), DAY)
    assert (back.version, back.is_new) == (3, True)
    assert accounts(store, LATER) == ["main/0421"]
    assert [meta.version for meta in versions(store)] == [1, 2, 3]


def test_the_same_roster_adds_no_version(tmp_path: Path, store: Store) -> None:
    save(store, roster(tmp_path / "r", accounts=ONE), None, DAY)
    before = store.files("roster")
    again = save(store, roster(tmp_path / "r", accounts=ONE.replace("\n", "\r\n")), None, dt.date(2026, 12, 1))
    assert (again.version, again.is_new) == (1, False)
    assert store.files("roster") == before
    assert len(versions(store)) == 1


def test_spans_and_visits_add_up(tmp_path: Path, store: Store) -> None:
    first = "account,from,to\n0421,2026-10-01 08:00,\n"
    second = "account,from,to\n0421,2026-10-01 08:00,2026-10-01 09:00\n0421,2026-10-05 08:00,2026-10-05 09:00\n"
    save(store, roster(tmp_path / "r", accounts=ONE, on_test=first), None, DAY)
    saved = save(store, roster(tmp_path / "r", accounts=ONE, on_test=second), None, DAY)
    assert (saved.version, saved.is_new, saved.spans_added) == (1, False, 1)
    save(store, roster(tmp_path / "r", accounts=ONE), None, DAY)
    tables, _ = in_force(store, LATER)
    assert tables["on_test"].column("until_utc").to_pylist() == [
        dt.datetime(2026, 10, 1, 13),
        dt.datetime(2026, 10, 5, 13),
    ]
    tables, _ = in_force(store, dt.datetime(2026, 10, 1, 12, 30))
    assert tables["on_test"].column("until_utc").to_pylist() == [None]
    assert len([file for file in store.files("roster") if file.tag == "on_test"]) == 1


def test_no_roster_and_a_lost_file(tmp_path: Path, store: Store) -> None:
    with pytest.raises(UsageProblem, match="holds no roster"):
        in_force(store, LATER)
    assert versions(store) == []
    save(store, roster(tmp_path / "r", accounts=ONE), None, DAY)
    (store.root / store.files("roster")[0].path).unlink()
    with pytest.raises(StoreProblem, match="cannot be read"):
        in_force(store, LATER)
