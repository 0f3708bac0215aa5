"""A small station on which nothing is wrong: written alike every time, and hardly anybody on it is blamed.

The bound is the project's own: at most one critical or major finding per 1,000 account-weeks over all checks, and
nobody flagged only because of an incident. The full measure (20,000 accounts) is run by hand: ``healthy_report``.
"""

from __future__ import annotations

import csv
from datetime import timedelta
from pathlib import Path

import pytest

from tests.simulation import clock, healthy, healthy_report
from tests.simulation.healthy_population import KINDS, STORIES, population
from tests.simulation.upheavals import RATES

ACCOUNTS, WEEKS, SEED = 300, 1, 2


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("healthy")
    for name, quiet in (("incidents", False), ("quiet", True)):
        healthy.build(folder / name, ACCOUNTS, WEEKS, SEED, quiet=quiet)
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as source:
        return list(csv.DictReader(source))


def test_the_same_seed_writes_the_same_station(base: Path, tmp_path: Path) -> None:
    healthy.build(tmp_path / "again", ACCOUNTS, WEEKS, SEED, quiet=True)
    again = contents(tmp_path / "again")
    first = {name: data for name, data in contents(base / "quiet").items() if name in again}
    assert first == again
    healthy.build(tmp_path / "other", ACCOUNTS, WEEKS, SEED + 1, quiet=True)
    assert contents(tmp_path / "other") != again


def test_every_archetype_and_story_is_there() -> None:
    sites = list(population(2000, (clock.START, clock.END)))
    assert {s.archetype for s in sites} == {name for name, _, _ in KINDS}
    assert {s.role for s in sites} == {*STORIES, ""}
    assert len({s.account for s in sites}) == 2000
    assert sum(s.account.startswith("0") for s in sites) > 100
    assert {len(s.account) for s in sites} == {4, 6}


def test_incidents_of_every_kind_are_there_and_only_in_one(base: Path) -> None:
    assert {row["kind"] for row in rows(base / "incidents" / "incidents_truth.csv")} == set(RATES)
    assert rows(base / "quiet" / "incidents_truth.csv") == []


def test_lives_are_the_same_with_incidents_and_without(base: Path) -> None:
    for name in ("accounts", "paths", "zones", "on_test"):
        sheet = f"workspace/roster/{name}.csv"
        assert (base / "incidents" / sheet).read_bytes() == (base / "quiet" / sheet).read_bytes()
    # before the first incident (its second week) the log is the same, line by line
    for path in sorted((base / "quiet" / "exports").iterdir()):
        if path.stem[-10:] < str(healthy.END - timedelta(weeks=healthy.HISTORY + WEEKS - 1)):
            assert path.read_bytes() == (base / "incidents" / "exports" / path.name).read_bytes(), path.name


def test_hardly_anybody_is_blamed_and_nobody_for_an_incident(base: Path) -> None:
    weeks = healthy_report.labels(WEEKS)
    with_them, without = (healthy_report.audited(base / name, weeks) for name in ("incidents", "quiet"))
    assert with_them.account_weeks > 0.9 * ACCOUNTS * WEEKS
    assert sum(n for (_, verdict), n in with_them.verdicts.items() if verdict == "sound") > 10 * ACCOUNTS
    told = [(f["account"], f["check"], f["subject"], f["sentence"]) for f in with_them.blamed()]
    # one in 1,000 account-weeks makes 0.3 expected here; Poisson: more than two with a chance of 0.4 %
    assert len(told) <= 2, told
    assert healthy_report.only_because_of_incidents(with_them, without) == []
