"""Inference of causes against worked examples: one done by hand here, and textbook ones.

The textbook examples are from memory of their sources; the numbers follow from Bayes' rule and can be done again.
"""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sigaudit.judging.cause_model import Cause, Model, Number
from sigaudit.judging.causes import FIRES, LEFT_OUT, SILENT, Factors, expected_change, factor, posterior, space

RATE = st.floats(0.001, 0.98)


def cause(name: str, base: float, **fires: float) -> Cause:
    numbers = {check: Number(value, "practice", "here") for check, value in fires.items()}
    return Cause(name, name, "", "wiring", "visit", "", "", Number(base, "practice", "here"), numbers)


def model(causes: list[Cause], leak: dict[str, float], **groups: tuple[str, ...]) -> Model:
    return Model(tuple(causes), {c: Number(v, "practice", "here") for c, v in leak.items()}, groups, {"practice": "x"})


def states(made: Model, **seen: int) -> np.ndarray:
    return np.array([[seen.get(check, LEFT_OUT) for check in made.checks]], dtype=np.int8)


def chances(made: Model, **seen: int) -> dict[str, float]:
    """P(cause) by id, and P(none), with nothing ruled out."""
    hypotheses = space(made)
    found = posterior(hypotheses, states(made, **seen), np.ones((1, len(made.causes)), dtype=np.bool_))[0]
    told = dict(zip(hypotheses.names, (found @ hypotheses.members).tolist(), strict=True))
    return {**told, "none": float(found[0])}


TWO = model(
    [cause("mistyped", 0.004, gone=0.5, overdue=0.6, near=0.7), cause("dead", 0.01, gone=0.6, overdue=0.8)],
    {"gone": 0.01, "overdue": 0.02, "near": 0.005},
    silence=("gone", "overdue"),
)


def test_an_account_done_on_paper() -> None:
    """``gone`` fires, ``near`` was judged and is silent; ``overdue`` stands below ``gone`` and says nothing more.

    Prior weights: none 1; mistyped 0.004/0.996 = 0.00401606; dead 0.01/0.99 = 0.01010101; both 0.0000405663.

    Group silence, first to fire is gone: max(q) * w1 / (w1 + w2)
      none      q = 0.01, 0.02:  0.02 * 0.01 / (0.01 + 0.02*0.99)  = 0.02 * 0.01 / 0.0298 = 0.00671141
      mistyped  q = 0.5, 0.6:    0.6 * 0.5 / (0.5 + 0.6*0.5)       = 0.6 * 0.5 / 0.8      = 0.375
      dead      q = 0.6, 0.8:    0.8 * 0.6 / (0.6 + 0.8*0.4)       = 0.8 * 0.6 / 0.92     = 0.52173913
      both      gone    1 - 0.5*0.4/0.99 = 0.79797980;  overdue 1 - 0.4*0.2/0.98 = 0.91836735
                0.91836735 * 0.79797980 / (0.79797980 + 0.91836735*0.20202020) = 0.74512846
    near is silent: none 1 - 0.005 = 0.995; mistyped 1 - 0.7 = 0.3; dead 0.995; both 0.3*0.995/0.995 = 0.3

    Products: none 1 * 0.00671141 * 0.995               = 0.00667785
              mistyped 0.00401606 * 0.375 * 0.3         = 0.00045181
              dead 0.01010101 * 0.52173913 * 0.995      = 0.00524374
              both 0.0000405663 * 0.74512846 * 0.3      = 0.00000907
    Sum 0.01238247. P(none) = 0.53930; P(mistyped) = (0.00045181+0.00000907)/sum = 0.03722; P(dead) = 0.42421.
    """
    found = chances(TWO, gone=FIRES, overdue=FIRES, near=SILENT)
    assert found["none"] == pytest.approx(0.53930, abs=5e-6)
    assert found["mistyped"] == pytest.approx(0.03722, abs=5e-6)
    assert found["dead"] == pytest.approx(0.42421, abs=5e-6)
    # What stands below the check that speaks changes nothing; a check not judged leaves its own place open.
    assert chances(TWO, gone=FIRES, overdue=SILENT, near=SILENT) == found


def test_one_positive_test_of_a_rare_fault() -> None:
    """Eddy 1982 (from memory): 1 % have it, the test finds 80 %, and 9.6 % of the others: 7.8 %, not 80 %."""
    made = model([cause("it", 0.01, test=0.8)], {"test": 0.096})
    assert chances(made, test=FIRES)["it"] == pytest.approx(0.0776, abs=5e-5)


def test_odds_times_likelihood_ratios() -> None:
    """Prior 1 %, two independent observations of ratios 20 and 5: odds 100/99, 0.5025126 (odds form of Bayes' rule)."""
    made = model([cause("it", 0.01, one=0.8, two=0.5)], {"one": 0.04, "two": 0.1})
    assert chances(made, one=FIRES, two=FIRES)["it"] == pytest.approx(0.5025126, abs=1e-7)


def test_noisy_or_of_two_causes() -> None:
    """Pearl 1988, 4.3.2 (from memory): each cause fails to show with its own chance, so both stay quiet together.

    Given numbers hold the leak already: link strengths 0.6 and 0.8, leak 0.1, as counted: 1-0.4*0.9 = 0.64 and
    1-0.2*0.9 = 0.82; both: 1 - 0.4*0.2*0.9 = 0.928.
    """
    made = model([cause("a", 0.1, check=0.64), cause("b", 0.1, check=0.82)], {"check": 0.1})
    hypotheses = space(made)
    assert hypotheses.rates[hypotheses.hypothesis("a", "b"), 0] == pytest.approx(0.928)
    assert hypotheses.rates[hypotheses.hypothesis(), 0] == pytest.approx(0.1)


def test_no_number_outside_two_and_ninety_eight_percent() -> None:
    made = model([cause("a", 0.1, check=0.98), cause("b", 0.1, check=0.98)], {"check": 0.3})
    hypotheses = space(made)
    assert hypotheses.rates[hypotheses.hypothesis("a", "b"), 0] == 0.98


@given(st.lists(RATE, min_size=1, max_size=5))
def test_outcomes_of_a_group_sum_to_one(rates: list[float]) -> None:
    """None fires, or one of them fires first: exactly one of these happens, under any numbers."""
    row = np.array([rates])
    none = [SILENT] * len(rates)
    firsts = [[SILENT] * i + [FIRES] + [SILENT] * (len(rates) - i - 1) for i in range(len(rates))]
    total = math.fsum(float(factor(row, picture)[0]) for picture in (none, *firsts))
    assert total == pytest.approx(1.0, abs=1e-12)


@given(st.lists(RATE, min_size=2, max_size=4))
def test_silence_of_a_group_is_one_fact(rates: list[float]) -> None:
    """Five checks that find nothing are worth the strongest of them, not its fifth power."""
    row = np.array([rates])
    assert float(factor(row, [SILENT] * len(rates))[0]) == pytest.approx(1 - max(rates))


def test_what_was_not_judged_is_not_no() -> None:
    nothing = chances(TWO)
    assert nothing["dead"] == pytest.approx(0.01) and nothing["mistyped"] == pytest.approx(0.004)
    assert chances(TWO, near=SILENT)["mistyped"] < nothing["mistyped"]
    assert chances(TWO, overdue=FIRES)["dead"] > chances(TWO, gone=SILENT, overdue=FIRES)["dead"]


def test_every_posterior_is_the_enumeration() -> None:
    """All 27 pictures of the small model against a sum over hypotheses written out in plain Python."""
    hypotheses = space(TWO)
    quiet = {(): (0.99, 0.98, 0.995), ("mistyped",): (0.5, 0.4, 0.3), ("dead",): (0.4, 0.2, 0.995),
             ("mistyped", "dead"): (0.5 * 0.4 / 0.99, 0.4 * 0.2 / 0.98, 0.3)}  # fmt: skip
    odds = {"mistyped": 0.004 / 0.996, "dead": 0.01 / 0.99}
    for gone, overdue, near in product((FIRES, SILENT, LEFT_OUT), repeat=3):
        weights = {}
        for held, (q_gone, q_overdue, q_near) in quiet.items():
            weight = math.prod(odds[name] for name in held)
            silence = [(1 - q, s) for q, s in ((q_gone, gone), (q_overdue, overdue)) if s != LEFT_OUT]
            if silence:
                top, left, speaks, whole = max(q for q, _ in silence), 1.0, None, 0.0
                for q, state in silence:
                    whole += left * q
                    if state == FIRES and speaks is None:
                        speaks = left * q
                    left *= 1 - q
                weight *= 1 - top if speaks is None else top * speaks / whole
            if near != LEFT_OUT:
                weight *= 1 - q_near if near == FIRES else q_near
            weights[held] = weight
        found = posterior(
            hypotheses, states(TWO, gone=gone, overdue=overdue, near=near), np.ones((1, 2), dtype=np.bool_)
        )[0]
        for held, weight in weights.items():
            assert found[hypotheses.hypothesis(*held)] == pytest.approx(weight / sum(weights.values()), rel=1e-9)


def test_a_trait_rules_a_cause_out() -> None:
    hypotheses = space(TWO)
    picture = states(TWO, gone=FIRES)
    found = posterior(hypotheses, picture, np.array([[True, False]]))[0]
    assert found[hypotheses.members[:, 1]].sum() == 0
    assert found.sum() == pytest.approx(1.0)


def test_a_stray_number_counts_as_far_as_it_is_the_accounts_own() -> None:
    """Link 0.7: 0.7 * with + 0.3 * without * chance. By hand: gone fires; the stray adds near.

    With the stray near fires: factors none 0.005, mistyped 0.7. Without it near is silent: none 0.995, mistyped 0.3;
    chance = 0.005/0.995. Mistyped: 0.7*0.7 + 0.3*0.3*0.005/0.995 = 0.49045226; none: 0.7*0.005 + 0.3*0.005 = 0.005.
    """
    hypotheses = space(TWO)
    own, joined = states(TWO, gone=FIRES, near=SILENT), states(TWO, gone=FIRES, near=FIRES)
    everything = np.ones((1, 2), dtype=np.bool_)
    found = posterior(hypotheses, own, everything, joined, np.array([0.7]))[0]
    mistyped, none = (hypotheses.hypothesis(*held) for held in (("mistyped",), ()))
    by_hand = (0.00401606 * 0.49045226) / 0.005
    # gone alone judged of its group: its factor is its own rate, 0.5 against 0.01
    assert found[mistyped] / found[none] == pytest.approx(by_hand * 0.5 / 0.01, rel=1e-5)
    sure = posterior(hypotheses, own, everything, joined, np.array([1.0]))
    assert sure == pytest.approx(posterior(hypotheses, joined, everything))
    never = posterior(hypotheses, own, everything, joined, np.array([0.0]))
    assert never == pytest.approx(posterior(hypotheses, own, everything))


def test_the_next_observation_is_the_one_that_would_change_most() -> None:
    """By Bayes' rule itself: the two answers it foresees are the posteriors after them, and their mean is today's."""
    hypotheses = space(TWO)
    picture = states(TWO, gone=FIRES)
    everything = np.ones((1, 2), dtype=np.bool_)
    now = posterior(hypotheses, picture, everything)[0]
    rows = {
        TWO.checks[check]: (change, fires, silent)
        for check, change, fires, silent in expected_change(Factors(hypotheses), now, picture[0], 0)
    }
    assert next(iter(rows)) == "near"
    change, fires, silent = rows["near"]
    assert fires == pytest.approx(chances(TWO, gone=FIRES, near=FIRES)["mistyped"])
    assert silent == pytest.approx(chances(TWO, gone=FIRES, near=SILENT)["mistyped"])
    assert change > rows["overdue"][0]
