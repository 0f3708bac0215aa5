"""What is named at an account, and how it is told; the reckoning told can be done again. No source: house rules."""

from __future__ import annotations

import math
from dataclasses import replace

import pyarrow as pa
import pytest

from sigaudit.judging import findings, reckoning
from sigaudit.judging.cause_evidence import Evidence, Unit
from sigaudit.judging.cause_model import Model
from sigaudit.judging.causes import FIRES, LEFT_OUT, SILENT
from sigaudit.judging.diagnose import FLOOR, Diagnosis, diagnose, fill, word
from tests.judging.test_causes import TWO, cause, model

ROSTERED = frozenset({"on_roster"})


def of(made: Model, *units: Unit, own: dict[str, dict[str, int]], stray: dict[str, dict[str, int]] | None = None,
       reasons: dict[tuple[str, str], str] | None = None) -> Diagnosis:  # fmt: skip
    evidence = Evidence(frozenset(made.checks), units, own, stray or {}, reasons or {})
    return diagnose(evidence, made, {}, {unit.key: {"site": "Site A", "account": unit.key[5:]} for unit in units})


def one(made: Model, **seen: int) -> Diagnosis:
    left_out = dict.fromkeys(made.checks, LEFT_OUT)
    return of(made, Unit("main/1", ROSTERED, frozenset()), own={"main/1": {**left_out, **seen}})


def test_words_of_probability() -> None:
    assert [word(p) for p in (0.8, 0.79, 0.5, 0.49, FLOOR, FLOOR - 0.001)] == [
        "strong", "likely", "likely", "possible", "possible", "unclear",
    ]  # fmt: skip


def test_the_probability_told_is_the_one_done_on_paper() -> None:
    """The account of tests/judging/test_causes: P(dead) 0.42421, P(none) 0.53930, P(mistyped) 0.03722."""
    rows = one(TWO, gone=FIRES, overdue=FIRES, near=SILENT).rows
    assert [(row["cause"], row["shown"], row["rank"]) for row in rows] == [("dead", True, 1), ("mistyped", False, 2)]
    assert rows[0]["probability"] == pytest.approx(0.42421, abs=5e-6)
    assert rows[0]["none_probability"] == pytest.approx(0.53930, abs=5e-6)
    assert (rows[0]["rival"], rows[0]["confidence"]) == ("mistyped", "possible")
    assert rows[0]["rival_probability"] == pytest.approx(0.03722, abs=5e-6)
    # 0.52173913 / 0.00671141 = 77.7 times; near was silent, which says nothing of a dead path.
    assert rows[0]["evidence_for"] == "gone (78 times as likely)" and rows[0]["evidence_against"] == ""
    # 0.3 / 0.995 = 0.30
    assert rows[1]["evidence_against"] == "no finding: near (0.3 times as likely)"


def test_nothing_above_the_floor_is_unclear() -> None:
    rows = one(TWO, overdue=FIRES, gone=SILENT, near=SILENT).rows
    assert rows[0]["cause"] == "unclear" and rows[0]["rank"] == 0 and not any(row["shown"] for row in rows)


def test_what_a_log_cannot_tell_apart_is_named_together() -> None:
    dead, off = cause("dead", 0.01, gone=0.7), cause("off", 0.005, gone=0.7)
    made = model([replace(dead, pair=("off",)), replace(off, pair=("dead",))], {"gone": 0.002})
    rows = one(made, gone=FIRES).rows
    assert [(row["cause"], row["pair"], row["rank"]) for row in rows] == [("dead", "off", 1), ("off", "dead", 1)]
    first = rows[0]
    assert first["entry_probability"] == rows[1]["entry_probability"] > first["probability"]
    assert first["entry_probability"] == pytest.approx(1 - first["none_probability"])
    assert first["rival"] == ""


def test_what_is_not_judged_and_would_tell_is_named_with_its_reason() -> None:
    made = of(TWO, Unit("main/1", ROSTERED, frozenset()), own={"main/1": {"gone": FIRES, "near": LEFT_OUT}},
              reasons={("main/1", "near"): "the log tells minutes only"})  # fmt: skip
    assert made.rows[0]["next_observation"].startswith("near: not judged here (the log tells minutes only); ")


def test_a_fired_check_that_a_cause_does_not_explain_speaks_against_it() -> None:
    made = model([cause("a", 0.1, x=0.9), cause("b", 0.1, y=0.9)], {"x": 0.01, "y": 0.01})
    rows = {row["cause"]: row for row in one(made, x=FIRES, y=FIRES).rows}
    assert rows["a"]["evidence_against"] == "y is not explained by it"
    assert rows["a"]["probability"] > 0.8 and rows["b"]["probability"] > 0.8  # two causes on one account


def finding(key: str, check: str) -> dict[str, object]:
    row = dict.fromkeys(findings.SCHEMA.names) | {"cause": "", "next_step": "Call."}
    return row | {"account_key": key, "check": check}


def test_findings_get_the_cause_that_makes_them_fire() -> None:
    unit = Unit("main/1", ROSTERED, frozenset(), "main/9", 0.9, ("main/2",))
    made = of(TWO, unit, Unit("main/3", ROSTERED, frozenset()),
              own={"main/1": {"gone": FIRES}, "main/3": {"overdue": FIRES, "gone": SILENT}},
              stray={"main/1": {"near": FIRES}})  # fmt: skip
    found = pa.Table.from_pylist(
        [finding("main/1", "gone"), finding("main/9", "near"), finding("main/3", "overdue"), finding("main/1", "else")],
        schema=findings.SCHEMA,
    )
    filled = fill(found, made).to_pylist()
    assert [row["cause"] for row in filled] == ["mistyped", "mistyped", "unclear", ""]
    assert filled[0]["cause_probability"] == filled[1]["cause_probability"] > 0.9
    assert filled[2]["cause_probability"] is None and filled[3]["cause_probability"] is None
    assert filled[0]["next_step"].endswith(" Then: Call.") and filled[2]["next_step"] == "Call."
    assert fill(found, made).schema == findings.SCHEMA
    assert (
        "it may also be that of main/2" in made.rows[0]["stray_note"] and "counted once" in made.rows[0]["stray_note"]
    )


@pytest.mark.parametrize("link", [0.0, 0.7])
def test_the_reckoning_told_can_be_done_again(link: float) -> None:
    """Weight times every factor told, summed over all hypotheses, gives the probabilities told."""
    unit = Unit("main/1", ROSTERED, frozenset(), "main/9" if link else "", link)
    made = of(TWO, unit, own={"main/1": {"gone": FIRES, "overdue": FIRES, "near": SILENT}},
              stray={"main/1": {"near": FIRES}} if link else {})  # fmt: skip
    told = reckoning.reckon(made, "main/1")
    assert told is not None and told.n == 4 and set(told.hypotheses) == {"none", "mistyped", "dead", "mistyped + dead"}
    none_with = math.prod(step.factors[0] for step in told.steps)
    none_without = math.prod((step.without or step.factors)[0] for step in told.steps)
    products = []
    for i, weight in enumerate(told.weights):
        with_stray = math.prod(step.factors[i] for step in told.steps)
        without = math.prod((step.without or step.factors)[i] for step in told.steps)
        mixed = link * with_stray + (1 - link) * without * none_with / none_without if link else without
        products.append(weight * mixed)
    assert told.products == pytest.approx(products)
    assert told.total == pytest.approx(sum(products))
    assert told.shares == pytest.approx([product / sum(products) for product in products])
    text = "\n".join(reckoning.lines(told))
    assert "sum over all 4" in text and "a cause has the sum of all that hold it" in text
    if not link:
        assert "silence: gone fires first" in text and "0.5217" in text and "0.006711" in text


def test_an_account_that_is_no_case_has_no_reckoning() -> None:
    assert reckoning.reckon(one(TWO, gone=FIRES), "main/2") is None
