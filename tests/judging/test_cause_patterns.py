"""Patterns against Fisher's own example and against independent implementations."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import numpy as np
import pytest
from scipy.stats import fisher_exact
from statsmodels.stats.multitest import multipletests

from sigaudit.judging.patterns import FACTORS, LEAST_GROUP, cases_of, exact_p, find, funnel, grouped, train
from tests.judging.test_causes import cause, model


def account(installer: str, **more: str) -> dict[str, str]:
    return {**dict.fromkeys(FACTORS, ""), "installer": installer, **more}


def made(*groups: tuple[str, int, int], cause: str = "a") -> tuple[dict[str, dict[str, str]], dict[str, set[str]]]:
    """(installer, accounts, of these with the cause) as accounts and cases."""
    accounts, cases = {}, {}
    for installer, n, k in groups:
        for i in range(n):
            accounts[f"{installer}{i}"] = account(installer)
            if i < k:
                cases[f"{installer}{i}"] = {cause}
    return accounts, cases


@pytest.mark.parametrize(("k", "p"), [(4, 1 / 70), (3, 17 / 70)])
def test_a_lady_tasting_tea(k: int, p: float) -> None:
    """Fisher 1935, The Design of Experiments, ch. 2 (from memory): eight cups, four of each kind.

    All four right is one way in 70; three or more right is 1 + 4*4 = 17 ways in 70.
    """
    assert float(exact_p(k, 4, 4 - k, 4)) == pytest.approx(p, rel=1e-12)


def test_every_group_is_fishers_exact_test_and_the_family_is_adjusted() -> None:
    """scipy.stats.fisher_exact and statsmodels' multipletests, which know nothing of this code."""
    rng = np.random.default_rng(11)
    accounts, cases = {}, {}
    for i in range(600):
        key, who = f"main/{i}", f"I{rng.integers(12)}"
        accounts[key] = account(who, area=f"Area {rng.integers(5)}")
        held = {name for name, share in (("a", 0.04), ("b", 0.1)) if rng.random() < share + 0.25 * (who == "I3")}
        if held:
            cases[key] = held
    found = find(accounts, cases, {})
    assert len(found) == 2 * (12 + 5)
    for one in found:
        table = [[one.k, one.n - one.k], [one.other_k, one.other_n - one.other_k]]
        assert one.p == pytest.approx(fisher_exact(table, alternative="greater").pvalue, rel=1e-9)
    adjusted = multipletests([one.p for one in found], method="fdr_bh")[1]
    assert [one.q for one in found] == pytest.approx(adjusted.tolist())
    assert {(one.factor, one.value) for one in found if one.stands_out} == {("installer", "I3")}


def test_no_pattern_where_there_is_none() -> None:
    """Two hundred stations in which every account is ill by the same chance: patterns are found in few of them."""
    rng = np.random.default_rng(3)
    told = 0
    for _ in range(200):
        accounts = {f"main/{i}": account(f"I{i % 10}") for i in range(300)}
        cases = {key: {"a"} for key in accounts if rng.random() < 0.05}
        told += any(one.stands_out for one in find(accounts, cases, {}))
    # At most 5 % by Benjamini and Hochberg where no group differs; exact tests on counts stay below. 20 of 200 is
    # beyond four standard errors of 5 %.
    assert told <= 20


def test_small_groups_and_unknown_values_are_left_out() -> None:
    accounts, cases = made(("few", LEAST_GROUP - 1, LEAST_GROUP - 1), ("many", 40, 1))
    accounts["main/x"] = account("")
    assert [one.value for one in find(accounts, cases, {})] == ["many"]
    assert next(iter(find(accounts, cases, {}))).other_n == LEAST_GROUP - 1


def test_accounts_that_cannot_have_a_cause_are_no_rest() -> None:
    accounts, cases = made(("radio", 10, 5), ("phone", 90, 0))
    barred: Mapping[str, set[str]] = {key: {"a"} for key in accounts if key.startswith("phone")}
    assert find(accounts, cases, barred) == []  # without a rest there is nothing to compare with
    assert find(accounts, cases, {})[0].other_n == 90


def test_two_of_a_kind_are_no_pattern() -> None:
    accounts, cases = made(("A", 6, 2), ("B", 4000, 0))
    one = find(accounts, cases, {})[0]
    assert one.q < 0.05 and not one.stands_out


def test_the_funnel_has_binomial_limits() -> None:
    """At a share of 2 % the 99.8 % limit lies at 4 of 30 and 8 of 120 (scipy's binomial, and project's own table)."""
    accounts, cases = made(("A", 30, 0), ("B", 120, 3))
    rows = {one.value: one for one in funnel(accounts, cases) if one.factor == "installer"}
    assert rows["A"].share == pytest.approx(0.02)
    assert rows["A"].high_998 * 30 == pytest.approx(4) and rows["B"].high_998 * 120 == pytest.approx(8)
    assert (rows["B"].k, rows["B"].n) == (3, 120)


def test_cases_are_what_was_named_at_least_likely() -> None:
    row = {"account_key": "main/1", "cause": "a", "shown": True, "confidence": "likely"}
    weeks = [[row, row | {"cause": "b", "confidence": "possible"}], [row | {"account_key": "main/2", "cause": "c"}],
             [row | {"account_key": "main/3", "shown": False}]]  # fmt: skip
    assert cases_of(weeks) == {"main/1": {"a"}, "main/2": {"c"}}


def test_the_month_of_installation_groups() -> None:
    rows = [{"account_key": "main/1", "installed_on": date(2026, 3, 9), "installer": "I", "template": ""},
            {"account_key": "main/2", "installed_on": None, "installer": None}]  # fmt: skip
    found = grouped(rows)
    assert found["main/1"]["installed_month"] == "2026-03" and found["main/2"]["installed_month"] == ""
    assert found["main/2"]["installer"] == "" and found["main/1"]["area"] == ""


def test_what_to_train_is_what_somebody_installs_or_programs() -> None:
    accounts, cases = made(("A", 20, 8), ("B", 400, 2))
    wiring = model([cause("a", 0.01, x=0.5)], {"x": 0.01})
    (row,) = train(find(accounts, cases, {}), wiring)
    assert (row["who"], row["as"], row["cause"]) == ("A", "installer", "a")
