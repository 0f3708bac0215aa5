"""How well causes are named on a small cause station, and the arithmetic of scorer and fitter by hand.

Outside source of the bounds: none; the station is invented (failure signatures of the trade), and what was measured
on larger ones stands in DEVELOPERS.md, Measured. The bounds here hold a small one with margin.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binomtest

from sigaudit.judging import cause_model, cause_stage
from sigaudit.judging.audit import read_cards
from sigaudit.judging.cause_model import LEAST, MOST, Reading
from sigaudit.settings import load
from sigaudit.store import shipped
from sigaudit.store.runs import Run
from tests.simulation import score
from tests.simulation.fit_causes import LEAK_WEIGHT, WEIGHT, Counts

SEED, WEEKS = 31, 4


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Run, Reading]:
    folder = tmp_path_factory.mktemp("accuracy") / "station"
    run = score.audited(folder, SEED, WEEKS, each=1, healthy=60)
    reading = cause_stage.read_model(read_cards(load(folder / "workspace")))
    assert reading is not None
    return folder, run, reading


@pytest.mark.parametrize("reference", [True, False], ids=["reference", "in force"])
def test_most_causes_are_found_and_named(station: tuple[Path, Run, Reading], reference: bool) -> None:
    folder, run, reading = station
    told = score.Score()
    told.add(run, reading.reference if reference else reading.model, score.truth_of(folder))
    sums = {name: sum(getattr(tally, name) for tally in told.causes.values()) for name in vars(score.Tally())}
    assert sums["sites"] == 37
    assert sums["due_found"] >= 0.75 * sums["due"], told.table()
    assert sums["first"] >= 0.6 * sums["found"], told.table()
    assert sums["third"] >= 0.75 * sums["found"], told.table()
    assert told.healthy_weeks == 60
    assert told.healthy_flags <= 1
    assert told.squares / told.cases < 0.03


@pytest.mark.parametrize(("k", "n"), [(0, 10), (15, 148), (199, 200)])
def test_interval_is_that_of_an_independent_library(k: int, n: int) -> None:
    wanted = binomtest(k, n).proportion_ci(method="wilson")
    assert score.wilson(k, n) == pytest.approx((wanted.low, wanted.high), abs=1e-6)


def model() -> cause_model.Model:
    reading = cause_stage.read_model(path.stem for path in (shipped.queries() / "checks").glob("*.toml"))
    assert reading is not None
    return reading.reference


def test_a_pair_is_one_entry_where_both_are_probable() -> None:
    given = dict.fromkeys((cause.id for cause in model().causes), 0.0)
    given |= {"contacts_crossed": 0.3, "contact_type_wrong": 0.4, "contacts_inverted": 0.2}
    (first, pair), (second, alone), *_ = score.entries(given, model())
    assert (first, second) == pytest.approx((0.7, 0.2))
    assert pair == {"contacts_crossed", "contact_type_wrong"} and alone == {"contacts_inverted"}
    given["contacts_crossed"] = 0.01  # twenty times rarer: not named beside it
    assert score.entries(given, model())[0][1] == {"contact_type_wrong"}


def test_counts_lean_on_the_reference_and_stay_within_bounds() -> None:
    counts = Counts(model())
    checks = list(counts.model.checks)
    cause = counts.model.cause("ground_fault")
    at = checks.index("ground_fault_reported")
    states = np.zeros(len(checks), dtype=np.int8)
    states[at] = 1
    for _ in range(30):
        counts.count("ground_fault", states)
    states[at] = -1  # not judged: does not count
    counts.count("ground_fault", states)
    states[at] = 0
    for _ in range(10):
        counts.count("ground_fault", states)
    prior = cause.fires["ground_fault_reported"].value
    told = counts.fires()["ground_fault"]
    assert told["ground_fault_reported"] == pytest.approx((30 + WEIGHT * prior) / (40 + WEIGHT))
    assert all(LEAST <= value <= MOST for fires in counts.fires().values() for value in fires.values())
    for _ in range(500):
        counts.count("", states)
    leak = counts.model.leak["ground_fault_reported"].value
    wanted = max(LEAK_WEIGHT * leak / (500 + LEAK_WEIGHT), 0.0001)
    assert counts.leak()["ground_fault_reported"] == pytest.approx(wanted)


def test_in_a_group_only_what_speaks_first_is_counted() -> None:
    counts = Counts(model())
    checks = list(counts.model.checks)
    states = np.zeros(len(checks), dtype=np.int8)
    states[[checks.index("gone_silent"), checks.index("test_overdue")]] = 1
    for _ in range(20):
        counts.count("primary_path_dead", states)
    assert counts.k["primary_path_dead"][checks.index("gone_silent")] == 20
    assert counts.n["primary_path_dead"][checks.index("test_overdue")] == 0


def test_shipped_measured_numbers_name_their_seeds_and_are_read() -> None:
    path = shipped.queries() / "causes_measured.toml"
    text = path.read_text(encoding="utf-8")
    assert "invented station" in text and "seeds" in text
    reading = cause_stage.read_model(path.stem for path in (shipped.queries() / "checks").glob("*.toml"))
    assert reading is not None
    measured = {n.standing for cause in reading.model.causes for n in cause.fires.values()}
    assert "simulator" in measured
    assert {n.standing for cause in reading.reference.causes for n in cause.fires.values()} == {"practice"}
