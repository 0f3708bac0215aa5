"""The station on which every cause is somebody's: none is left out, strengths differ, windows show the same lives.

Outside source: the project's list of causes (sigaudit/data/causes.csv), made before the station was.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.simulation import cause_station, score
from tests.simulation.cause_ways import DOUBLES, PLANTERS, WAYS, there
from tests.simulation.healthy_population import KINDS

LIST = Path(__file__).resolve().parents[2] / "sigaudit" / "data" / "causes.csv"


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("causes")
    for weeks in (1, 2):
        cause_station.build(folder / str(weeks), 5, weeks, each=1, healthy=12)
    return folder


def test_every_cause_at_a_site_is_carried_and_no_other() -> None:
    with LIST.open(encoding="utf-8", newline="") as source:
        wanted = {row["cause"] for row in csv.DictReader(source) if row["place"] == "site"}
    assert set(WAYS) == wanted
    assert {cause for _, *both in DOUBLES for cause in both} <= wanted


def test_planters_and_kinds_are_known() -> None:
    kinds = {name for name, _, _ in KINDS}
    for cause, ways in WAYS.items():
        for way in ways:
            assert way.planter in PLANTERS, (cause, way.planter)
            assert set(way.kinds) <= kinds, (cause, way.kinds)
            assert way.strengths, cause
    for kind, *both in DOUBLES:
        assert all(any(kind in way.kinds for way in WAYS[cause]) for cause in both), (kind, both)


def test_truth_names_what_each_account_carries(base: Path) -> None:
    truth = score.truth_of(base / "1")
    causes = {account: carrier.causes for account, carrier in truth.items()}
    strays = {account: carrier.strays for account, carrier in truth.items()}
    assert set().union(*causes.values()) == {cause for cause in WAYS if there(cause)}
    pairs = [both for kind, *both in DOUBLES if all(there(cause, kind) for cause in both)]
    assert sorted(map(sorted, (held for held in causes.values() if len(held) == 2))) == sorted(map(sorted, pairs))
    assert sum(not held for held in causes.values()) == 12
    assert not set().union(*strays.values()) & set(causes)
    assert len(set().union(*causes.values())) > 10


def test_a_longer_window_shows_the_same_lives_from_earlier_on(base: Path) -> None:
    assert (base / "1" / "truth.csv").read_bytes() == (base / "2" / "truth.csv").read_bytes()
    late = {path.name: path.read_bytes() for path in (base / "1" / "exports").iterdir()}
    both = {path.name: path.read_bytes() for path in (base / "2" / "exports").iterdir()}
    assert set(late) < set(both)
    assert {name: both[name] for name in late} == late
