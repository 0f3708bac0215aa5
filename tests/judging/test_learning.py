"""Learning from visits: Beta counts, who teaches what, and never from one visit to certainty."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from scipy import stats

from sigaudit.judging.cause_stage import first_day_unknown
from sigaudit.judging.learning import (
    FIRES_WEIGHT,
    LITTLE,
    OTHERWISE,
    SHARE_WEIGHT,
    Visit,
    learn,
    posterior_mean,
    visits_of,
)
from tests.judging.test_causes import cause, model

DAY = date(2026, 11, 17)
MODEL = model(
    [cause("weak_radio_path", 0.01, lost=0.6), cause("roster_wrong", 0.03, lost=0.1, stray=0.5)],
    {"lost": 0.02, "stray": 0.01},
)


def visit(key: str, *found: str, day: date = DAY) -> Visit:
    return Visit(key, day, found, ())


def row(key: str, found: str, day: date = DAY, fixed: str = "yes") -> dict[str, Any]:
    return {"account_key": key, "visited_on": day, "technician": "", "found": found, "fixed": fixed, "note": ""}


@pytest.mark.parametrize(
    ("a", "b", "k", "n", "mean"),
    [
        # Placenta previa, Gelman et al., Bayesian Data Analysis, ch. 2 (from memory): 437 girls of 980 births; a
        # uniform prior gives 438/982 = 0.446; a prior of mean 0.485 worth 100 births gives 0.450.
        (1.0, 1.0, 437, 980, 0.446),
        (48.5, 51.5, 437, 980, 0.450),
        # Rat tumours, the same, ch. 5 (from memory): a prior printed as Beta(1.4, 8.6) and 4 of 14 give 0.223.
        (1.4, 8.6, 4, 14, 0.223),
    ],
)
def test_the_beta_binomial_update_as_published(a: float, b: float, k: int, n: int, mean: float) -> None:
    after = posterior_mean(a / (a + b), a + b, k, n)
    # The book rounds that prior to one decimal before it prints it: 5.4/24 is 0.225.
    assert after == pytest.approx(mean, abs=2.1e-3 if n == 14 else 6e-4)
    assert after == pytest.approx(float(stats.beta(a + k, b + n - k).mean()), rel=1e-12)


def test_rows_of_one_day_are_one_visit_and_later_days_teach_nothing() -> None:
    rows = [row("main/1", "weak_radio_path"), row("main/1", "roster_wrong"), row("main/2", "no_fault"),
            row("main/3", "roster_wrong", date(2026, 11, 18))]  # fmt: skip
    assert visits_of(rows, date(2026, 11, 18)) == [
        Visit("main/1", DAY, ("roster_wrong", "weak_radio_path"), ("yes",)),
        Visit("main/2", DAY, ("no_fault",), ("yes",)),
    ]  # fmt: skip


def test_a_visit_on_the_day_of_the_audit_is_not_yet_known() -> None:
    zone = ZoneInfo("America/New_York")
    # The week ends at local midnight of Monday 23 November: a visit on Sunday is known, one on Monday is not.
    assert first_day_unknown(datetime(2026, 11, 23, 5), zone) == date(2026, 11, 23)
    assert first_day_unknown(datetime(2026, 11, 23, 4, 59, 59), zone) == date(2026, 11, 22)


def test_how_often_a_cause_is_found_by_hand() -> None:
    """Shares before: 0.8 * 0.01/0.04 = 0.2 and 0.8 * 0.03/0.04 = 0.6, worth 50 visits.

    Ten visits find the radio path, five the roster, five another thing: (50*0.2 + 10)/(50 + 20) = 0.285714 and
    (50*0.6 + 5)/70 = 0.5. Base rates move by the ratio: 0.01 * 0.285714/0.2 = 0.0142857; 0.03 * 0.5/0.6 = 0.025.
    """
    assert (OTHERWISE, SHARE_WEIGHT) == (0.2, 50.0)
    calls = [visit(f"a{i}", "weak_radio_path") for i in range(10)]
    calls += [visit(f"b{i}", "roster_wrong") for i in range(5)] + [visit(f"c{i}", "other") for i in range(5)]
    learnt = learn(MODEL, calls, {})
    found = {line.cause: line for line in learnt.lines}
    assert (found["weak_radio_path"].k, found["weak_radio_path"].n) == (10, 20)
    assert found["weak_radio_path"].after == pytest.approx(0.285714, abs=1e-6)
    assert learnt.model.cause("weak_radio_path").base.value == pytest.approx(0.0142857, abs=1e-7)
    assert learnt.model.cause("roster_wrong").base.value == pytest.approx(0.025)
    assert learnt.model.cause("roster_wrong").base.standing == "visits"


def test_what_a_check_showed_before_the_visit_by_hand() -> None:
    """P(lost fires | radio) 0.6 worth 20 visits; it fired before 2 of 3 such visits: (12 + 2)/23 = 0.608696."""
    assert FIRES_WEIGHT == 20.0
    calls = [visit("main/1", "weak_radio_path"), visit("main/2", "weak_radio_path"), visit("main/3", "weak_radio_path"),
             visit("main/4", "weak_radio_path", "roster_wrong"), visit("main/5", "weak_radio_path")]  # fmt: skip
    shown = {("main/1", DAY): {"lost": True}, ("main/2", DAY): {"lost": True}, ("main/3", DAY): {"lost": False},
             ("main/4", DAY): {"lost": False}}  # fmt: skip
    learnt = learn(MODEL, calls, shown)
    number = learnt.model.cause("weak_radio_path").fires["lost"]
    # Two causes at once teach nothing about one check, and where it was not judged nothing was seen.
    assert number.value == pytest.approx(14 / 23) and number.standing == "visits"
    assert learnt.model.cause("roster_wrong").fires["lost"].value == 0.1


def test_one_visit_never_makes_certain() -> None:
    shown = {("main/1", DAY): {"lost": False, "stray": True}}
    learnt = learn(MODEL, [visit("main/1", "roster_wrong")], shown).model.cause("roster_wrong")
    assert 0.03 < learnt.base.value < 0.04
    assert 0.09 < learnt.fires["lost"].value < 0.1 and 0.5 < learnt.fires["stray"].value < 0.53
    hundred = learn(MODEL, [visit(f"a{i}", "roster_wrong") for i in range(10_000)], {}).model.cause("roster_wrong")
    assert hundred.base.value < 0.06


def test_the_order_in_which_visits_became_known_does_not_matter() -> None:
    rows = [row(f"main/{i}", found, date(2026, 11, 1 + i)) for i, found in enumerate(
        ("weak_radio_path", "roster_wrong", "no_fault", "other", "weak_radio_path"))]  # fmt: skip
    there = visits_of(rows, date(2026, 12, 1))
    assert visits_of(rows[::-1], date(2026, 12, 1)) == there
    assert learn(MODEL, there[::-1], {}).model == learn(MODEL, there, {}).model


def test_nothing_found_weighs_little_against_what_comes_and_goes() -> None:
    found = {line.cause: line for line in learn(MODEL, [visit("main/1", "no_fault")], {}).lines}
    assert (found["weak_radio_path"].n, found["roster_wrong"].n) == (LITTLE, 1.0)
    again = {line.cause: line for line in learn(MODEL, [visit("main/1", "could_not_reproduce")], {}).lines}
    assert (again["weak_radio_path"].n, again["roster_wrong"].n) == (LITTLE, LITTLE)


@pytest.mark.parametrize("word", ["no_access", "not_checked"])
def test_who_saw_nothing_teaches_nothing(word: str) -> None:
    assert learn(MODEL, [visit("main/1", word)], {}).lines == ()
    assert learn(MODEL, [visit("main/1", word)], {}).model == MODEL
