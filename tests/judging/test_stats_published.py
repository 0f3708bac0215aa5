"""Statistics against published values, and against scipy and statsmodels as independent libraries.

``data/published_statistics.json`` names for every value its source, where it was seen, and ``known``:
``seen`` (read in the place named), ``memory`` (recalled; the library comparison below backs it),
``mixed`` (values seen, one input recalled), ``computed`` (no publication claimed). The flag is part of
the test id. One more published criterion stands in ``test_defence_guide_criterion``.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as scipy_stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson
from statsmodels.stats.rates import test_poisson_2indep as poisson_2indep

from sigaudit.judging import bursts, mixtures, stats
from sigaudit.judging.rhythm import circular

Entry = dict[str, Any]

ENTRIES: list[Entry] = json.loads(
    (Path(__file__).parent / "data" / "published_statistics.json").read_text(encoding="utf-8")
)


def _limits(function: Callable[..., stats.Interval]) -> Callable[[Entry], dict[str, Any]]:
    def answer(entry: Entry) -> dict[str, Any]:
        low, high = function(**entry["inputs"])
        return {"low": low, "high": high}

    return answer


def _garwood(entry: Entry) -> Any:
    low, high = stats.garwood(entry["inputs"]["x"], conf=entry["inputs"]["conf"])
    return {"low": low, "high": high} if isinstance(entry["expected"], dict) else high


def _rule_of_three(entry: Entry) -> Any:
    given = entry["inputs"]
    return stats.clopper_pearson(given["k"], given["n"], 1 - 2 * (1 - given["one_sided_conf"]))[1]


def _beta_fit(entry: Entry) -> Any:
    prior = mixtures.fit_one(entry["inputs"]["y"], entry["inputs"]["n"])
    return {"alpha": prior.alpha, "beta": prior.beta}


def _funnel(entry: Entry) -> Any:
    counts = np.arange(20)
    tails = [stats.binomial_tail(counts + 1, n, entry["inputs"]["p0"]) for n in entry["inputs"]["n"]]
    return [int(np.argmax(tail <= 0.001)) for tail in tails]  # P(K > limit) is at most 0.1 %


def _twice_smaller_tail(entry: Entry) -> Any:
    one, two, t1, t2 = (entry["inputs"][name] for name in ("k1", "k2", "n1", "n2"))
    return 2 * min(stats.conditional_test(one, t1, two, t2)[0], stats.conditional_test(two, t2, one, t1)[0])


def _ratio(entry: Entry) -> Any:
    given = entry["inputs"]
    exact, mid = stats.conditional_test(given["k1"], given["t1"], given["k2"], given["t2"], given.get("ratio0", 1.0))
    return mid if entry["id"].endswith("midp") else exact


def _bh1995(entry: Entry) -> Any:
    adjusted = stats.benjamini_hochberg(entry["inputs"]["p"])
    q, m = entry["inputs"]["q"], len(adjusted)
    return {
        "rejected_bh": int((adjusted <= q).sum()),
        "rejected_bonferroni": int((np.array(entry["inputs"]["p"]) * m <= q).sum()),
        "adjusted_4th": adjusted[3],
    }


def _false_flags(entry: Entry) -> Any:
    given = entry["inputs"]
    return given["N"] * stats.binomial_tail(given["kcrit"], given["n"], given["p0"])


def _circular(entry: Entry) -> Any:
    given = entry["inputs"]
    if "times" in given:
        clock = [int(t[:2]) * 3600 + int(t[3:]) * 60 for t in given["times"]]
        mean, _ = circular(np.array(clock, float), np.full(2, 86400.0), np.zeros(2, np.int64), 1)
        return min(mean[0], 86400 - mean[0])
    degrees = np.array(given.get("angles_deg", given.get("centres_deg")), float)
    degrees = np.repeat(degrees, given.get("freq", 1))
    mean, r = circular(degrees, np.full(degrees.size, 360.0), np.zeros(degrees.size, np.int64), 1)
    whole = {
        "mean": mean[0],
        "r": r[0],
        "circular_variance": 1 - r[0],
        "s": np.degrees(np.sqrt(2 * (1 - r[0]))),  # angular deviation
        "s0": np.degrees(np.sqrt(-2 * np.log(r[0]))),  # circular standard deviation
    }
    return {name: whole[name] for name in entry["expected"]} if isinstance(entry["expected"], dict) else r[0]


def _scan(entry: Entry) -> Any:
    given = entry["inputs"]
    if "e" in given:
        return stats.scan_llr(given["c"], given["e"], given["C"])
    expected = given["C"] * given["pop_in"] / given["pop_total"]
    whole = {
        "expected": expected,
        "smr": given["c"] / expected,
        "rr": (given["c"] / expected) / ((given["C"] - given["c"]) / (given["C"] - expected)),
        "llr": stats.scan_llr(given["c"], expected, given["C"]),
    }
    return {name: whole[name] for name in entry["expected"]}


# Longest prefix first: the first that fits the id says what to compute.
ANSWERS: list[tuple[str, Callable[[Entry], Any]]] = [
    ("a-wilson", _limits(stats.wilson)),
    ("a-R-wilson", _limits(stats.wilson)),
    ("a-cp", _limits(stats.clopper_pearson)),
    ("a-R-beta", _limits(stats.clopper_pearson)),
    ("a-rule-of-three", _rule_of_three),
    ("a-betabinom-mle", _beta_fit),
    ("a-funnel-limit", _funnel),
    ("b-garwood", _garwood),
    ("b-ctest", _twice_smaller_tail),
    ("b-gu2008", _ratio),
    ("b-exactci", _ratio),
    ("c-bh1995", _bh1995),
    ("c-bh-small", lambda entry: stats.benjamini_hochberg(entry["inputs"]["p"])),
    ("c-expected-false-flags", _false_flags),
    ("d-", _circular),
    ("f-kulldorff", _scan),
    ("f-scan", lambda entry: bursts.scan_tail(entry["inputs"]["k"], entry["inputs"]["N"], entry["inputs"]["w"])),
]


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: f"{entry['id']}-{entry['known']}")
def test_published_value(entry: Entry) -> None:
    answer = next(compute for prefix, compute in ANSWERS if entry["id"].startswith(prefix))(entry)
    expected = entry["expected"]
    if not isinstance(expected, dict):
        answer, expected = {"value": answer}, {"value": expected}
    assert answer.keys() == expected.keys()
    for name, value in expected.items():
        np.testing.assert_allclose(answer[name], value, rtol=0, atol=entry["tolerance"] + 1e-12, err_msg=name)


def test_every_entry_says_where_it_is_from() -> None:
    assert len({entry["id"] for entry in ENTRIES}) == len(ENTRIES) == 46
    for entry in ENTRIES:
        assert entry["source"]
        assert entry["seen_in"] or entry["known"] in ("memory", "computed")


def test_defence_guide_criterion() -> None:
    # UFGS 13721A, page 10 (seen): better than 90 % with 95 % confidence is met by 49 of 50 or 98 of 100.
    low, _ = stats.clopper_pearson([49, 98, 48], [50, 100, 50], conf=0.90)
    assert (low > 0.90).tolist() == [True, True, False]


# Independent libraries, over a grid of what a week can hold.

PAIRS = np.array([(k, n) for n in (1, 2, 7, 30, 120) for k in range(n + 1)])
K, N = PAIRS.T


@pytest.mark.parametrize("conf", [0.8, 0.95, 0.99])
def test_proportion_limits_agree_with_statsmodels(conf: float) -> None:
    for ours, method in ((stats.clopper_pearson, "beta"), (stats.wilson, "wilson")):
        theirs = np.array([proportion_confint(k, n, 1 - conf, method) for k, n in PAIRS]).T
        np.testing.assert_allclose(ours(K, N, conf), np.nan_to_num(theirs), rtol=1e-9, atol=1e-12)


def test_proportion_limits_agree_with_scipy() -> None:
    for k, n in PAIRS[::7]:
        test = scipy_stats.binomtest(int(k), int(n))
        for ours, method in ((stats.clopper_pearson, "exact"), (stats.wilson, "wilson")):
            theirs = test.proportion_ci(0.95, method)
            np.testing.assert_allclose(ours(k, n), theirs, rtol=1e-7, atol=1e-12)


def test_rate_limits_agree_with_statsmodels() -> None:
    x = np.arange(1, 60)
    for exposure in (1.0, 7.0, 90.0):
        theirs = np.array([confint_poisson(int(k), exposure, "exact-c", 0.1) for k in x]).T
        np.testing.assert_allclose(stats.garwood(x, exposure, 0.9), theirs, rtol=1e-9)


def test_tails_agree_with_scipy() -> None:
    for p in (0.0, 0.005, 0.2, 1.0):
        np.testing.assert_allclose(stats.binomial_tail(K, N, p), scipy_stats.binom.sf(K - 1, N, p), rtol=1e-9)
    x = np.arange(40)
    for mean in (0.0, 0.05, 3.0, 25.0):
        np.testing.assert_allclose(stats.poisson_tail(x, mean), scipy_stats.poisson.sf(x - 1, mean), rtol=1e-9)
        assert stats.silence_probability(mean) == pytest.approx(scipy_stats.poisson.pmf(0, mean))
    assert stats.binomial_tail(8, 7, 0.5) == 0.0


def test_conditional_test_agrees_with_statsmodels() -> None:
    for k1, t1, k0, t0 in [(5, 7, 3, 63), (1, 7, 2, 63), (40, 7, 200, 63)]:
        ours = stats.conditional_test(k1, t1, k0, t0)
        for p, method in zip(ours, ("exact-cond", "cond-midp"), strict=True):
            theirs = poisson_2indep(k1, t1, k0, t0, method=method, alternative="larger").pvalue
            assert p == pytest.approx(theirs, rel=1e-9)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60))
def test_adjusted_p_agrees_with_statsmodels_and_scipy(p: list[float]) -> None:
    ours = stats.benjamini_hochberg(p)
    np.testing.assert_allclose(ours, multipletests(p, method="fdr_bh")[1], atol=1e-12)
    np.testing.assert_allclose(ours, scipy_stats.false_discovery_control(p), atol=1e-12)
    with_gaps = stats.benjamini_hochberg([np.nan, *p, np.nan])
    assert np.isnan(with_gaps[[0, -1]]).all()
    np.testing.assert_array_equal(with_gaps[1:-1], ours)


# What the callers rely on.


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), max_size=40))
def test_one_call_for_all_is_the_same_as_one_call_each(pairs: list[tuple[int, int]]) -> None:
    k = np.array([min(pair) for pair in pairs], dtype=float)
    n = np.array([max(pair) for pair in pairs], dtype=float)
    low, high = stats.clopper_pearson(k, n)
    assert low.shape == high.shape == k.shape
    for i in range(len(pairs)):
        one = stats.clopper_pearson(k[i], n[i])
        assert (low[i], high[i]) == (float(one[0]), float(one[1]))
    assert np.all((low >= 0) & (high <= 1) & (low <= high))


def test_nothing_due_says_nothing() -> None:
    for interval in (stats.clopper_pearson, stats.wilson):
        assert [float(limit) for limit in interval(0, 0)] == [0.0, 1.0]


def test_impossible_numbers_are_refused() -> None:
    for call in (
        lambda: stats.clopper_pearson(3, 2),
        lambda: stats.wilson(-1, 2),
        lambda: stats.clopper_pearson(np.nan, 2),
        lambda: stats.clopper_pearson(1, 2, 95),
        lambda: stats.garwood(1, 0),
        lambda: stats.binomial_tail(1, 2, 1.5),
        lambda: stats.poisson_tail(1, -1),
        lambda: stats.conditional_test(1, 0, 1, 1),
        lambda: stats.benjamini_hochberg([0.5, 2]),
        lambda: stats.silence_probability(-1),
        lambda: stats.scan_llr(1, 5, 3),
        lambda: stats.longest_run([True], [1, 2]),
    ):
        with pytest.raises(ValueError, match=r"\w+ \w+"):
            call()


def test_a_window_with_no_more_than_expected_scores_zero() -> None:
    assert stats.scan_llr([3, 5, 0], 5.0, 100).tolist() == [0.0, 0.0, 0.0]


@given(st.lists(st.tuples(st.integers(0, 3), st.booleans()), max_size=60))
def test_longest_run_agrees_with_counting_by_hand(slots: list[tuple[int, bool]]) -> None:
    slots = sorted(slots, key=lambda slot: slot[0])
    by_hand: dict[int, int] = {}
    for group in sorted({group for group, _ in slots}):
        text = "".join("x" if missed else " " for owner, missed in slots if owner == group)
        by_hand[group] = max((len(run) for run in text.split()), default=0)
    ours = stats.longest_run([missed for _, missed in slots], [group for group, _ in slots])
    assert ours.tolist() == list(by_hand.values())
