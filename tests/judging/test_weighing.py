"""Change points, durations, counts and gaps beside independent libraries and made truths; words beside a made week."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from sigaudit.judging import arrivals, change_points, counts, survival, telling
from sigaudit.judging.stats import hypergeometric_tail
from sigaudit.judging.weighed import CLEAR
from sigaudit.judging.weighed_tests import CHECK
from sigaudit.store.shipped import queries
from tests.judging.small_desk import WEEK, healthy, judged
from tests.simulation.site import Signal

DAY = 86400


@pytest.mark.parametrize(
    "values", [[0, 0, 0, 1, 0, 1, 1, 1], [1, 0, 0, 0, 0, 0, 0, 1, 1, 0], [0, 0, 0, 0, 0, 0, 0, 2, 1]]
)
def test_the_chance_of_a_change_is_that_of_all_orders(values: list[int]) -> None:
    # Every way to place as many misses (or events) is listed and counted.
    is_count = max(values) > 1
    n, total = len(values), sum(values)
    found = change_points.changes(values, [n], counts=is_count)
    rows, weights = [], []
    for code in range((total + 1) ** n if is_count else 2**n):
        base = total + 1 if is_count else 2
        row = [code // base**i % base for i in range(n)]
        if sum(row) == total:
            rows.append(row)
            weights.append(1 / math.prod(math.factorial(v) for v in row))
    every = change_points.changes(np.ravel(rows), [n] * len(rows), counts=is_count)
    as_large = every.llr2 >= found.llr2[0] - 1e-9
    assert found.p[0] == pytest.approx(np.dot(as_large, weights) / np.sum(weights))


def test_many_rows_at_once_are_each_row_alone() -> None:
    rng = np.random.default_rng(5)
    rows = [rng.random(int(n)) < 0.3 for n in rng.integers(1, 40, 30)]
    whole = change_points.changes(np.concatenate(rows), [len(row) for row in rows], counts=False)
    for i, row in enumerate(rows):
        alone = change_points.changes(row, [len(row)], counts=False)
        for name in ("before", "earliest", "latest", "llr2", "p", "rate_before", "rate_after"):
            assert getattr(whole, name)[i] == pytest.approx(getattr(alone, name)[0], abs=1e-12), name


def test_a_change_is_found_where_it_is_and_none_where_none_is() -> None:
    rng = np.random.default_rng(1)
    steady = (rng.random((2000, 35)) < 0.2).ravel()
    assert (change_points.changes(steady, [35] * 2000, counts=False).p <= CLEAR).mean() <= 2 * CLEAR
    begun = np.where(np.arange(35) < 20, rng.random((500, 35)) < 0.02, rng.random((500, 35)) < 0.6)
    found = change_points.changes(begun.ravel(), [35] * 500, counts=False)
    assert (found.p <= CLEAR).mean() > 0.8  # fifteen tests are few
    assert np.median(np.abs(found.before - 20)) <= 1
    # The range is approximate and says so: it holds the true place in nine of ten such rows.
    assert 0.85 < ((found.earliest <= 20) & (found.latest >= 20)).mean() < 0.97


def test_nothing_to_tell_from() -> None:
    found = change_points.changes([0] * 10 + [1] * 10 + [1, 0], [10, 10, 2], counts=False)
    assert found.before.tolist() == [0, 0, 0]
    assert found.p.tolist() == [1.0, 1.0, 1.0]
    assert change_points.changes([], [], counts=False).p.size == 0
    for values, counted in (([0.5, 2], False), ([-1, 0], True), ([1], True)):
        with pytest.raises(ValueError, match="cells"):
            change_points.changes(values, [2], counts=counted)


@settings(max_examples=40)
@given(st.lists(st.tuples(st.integers(1, 30), st.booleans(), st.booleans()), min_size=2, max_size=40))
def test_durations_agree_with_scipy(rows: list[tuple[int, bool, bool]]) -> None:
    time, ended, second = (np.array(column) for column in zip(*rows, strict=True))
    curve = survival.kaplan_meier(time, ended)
    theirs = scipy_stats.ecdf(scipy_stats.CensoredData(time[ended], right=time[~ended])).sf
    for at, ours in zip(curve.times, curve.open_share, strict=True):
        assert ours == pytest.approx(theirs.evaluate(at), abs=1e-9)
    low, high = curve.limits_after(float(time[0]))
    assert low <= curve.after(float(time[0])) <= high
    if second.any() and (~second).any() and ended.any():
        chi2, p = survival.log_rank(time, ended, second)
        if chi2:
            one, two = (scipy_stats.CensoredData(time[g & ended], right=time[g & ~ended]) for g in (second, ~second))
            assert p == pytest.approx(scipy_stats.logrank(one, two).pvalue, abs=1e-9)


def test_tails_agree_with_scipy() -> None:
    peers = counts.Gamma(0.7, 3.0)
    for k in range(8):
        theirs = scipy_stats.nbinom.sf(k - 1, peers.shape, peers.rate / (peers.rate + 2.0))
        assert float(counts.count_tail(k, 2.0, peers)) == pytest.approx(theirs)
        low, high = counts.rate_limits(k, 2.0, peers)
        of = scipy_stats.gamma(peers.shape + k, scale=1 / (peers.rate + 2.0))
        assert [float(low), float(high)] == pytest.approx([of.ppf(0.025), of.ppf(0.975)])
    for x, marked, drawn, whole in [(3, 4, 4, 8), (0, 4, 4, 8), (5, 5, 7, 35), (2, 0, 4, 8), (7, 20, 28, 30)]:
        theirs = scipy_stats.hypergeom.sf(x - 1, whole, marked, drawn)
        assert float(hypergeometric_tail(x, marked, drawn, whole)) == pytest.approx(theirs, abs=1e-12)


def test_a_crowd_that_was_made_is_found_again() -> None:
    rng = np.random.default_rng(3)
    rate = rng.gamma(0.5, 1 / 0.5 * 0.2, 20_000)
    exposure = rng.choice([2.0, 7.0, 13.0], 20_000)
    found = counts.fit_gamma(rng.poisson(rate * exposure), exposure)
    assert found.shape == pytest.approx(0.5, rel=0.1)
    assert found.mean == pytest.approx(0.2, rel=0.05)
    assert counts.fit_gamma([0, 0], 1.0).mean == pytest.approx(0.25)


def test_gaps() -> None:
    gaps, group = [10, 10, 10, 400, 5], [0, 0, 0, 1, 1]
    longest, runs = arrivals.longest_run(gaps, group, 3)
    assert (longest.tolist(), runs.tolist()) == ([4, 2, 1], [1, 2, 1])
    even = arrivals.burstiness(gaps, group, 3)
    assert even[0] == -1
    assert np.isnan(even[2])
    assert np.isnan(arrivals.robust_z(5, 1, 0))


def test_numbers_in_words() -> None:
    assert [telling.share(v) for v in (0, 0.0004, 0.009, 0.3929, 1)] == ["0 %", "below 0.1 %", "0.9 %", "39 %", "100 %"]
    assert [telling.chance(p) for p in (1e-9, 0.0123, 1)] == ["below 0.0001", "0.01", "1"]
    assert [telling.hours(h) for h in (0.003, 0.5, 3.46, 53.2)] == ["11 s", "30 min", "3.5 h", "2 d 5 h"]
    assert [telling.number(v) for v in (0.0312, 5.04, 1234.4, float("nan"))] == ["0.031", "5", "1,234", "?"]


def test_a_path_that_began_to_fail_is_dated() -> None:
    """From the twelfth day before the end two of three tests of one account are lost."""
    sites, signals = healthy(7, step=10)
    daily: dict[str, list[Signal]] = {}
    for signal in sorted(signals, key=lambda s: s.at):
        if signal.event == "E602" and WEEK[0] - 28 * DAY <= signal.at < WEEK[1]:
            daily.setdefault(signal.account, []).append(signal)
    account, tests = next((a, t) for a, t in sorted(daily.items()) if 34 <= len(t) <= 36)
    begins = WEEK[1] - 12 * DAY
    late = [s for s in tests if s.at >= begins]
    lost = {id(s) for i, s in enumerate(late[:-1]) if i % 3 != 2}
    found, desk = judged(sites, [s for s in signals if id(s) not in lost], [CHECK])
    mine = [r for r in found.rows.to_pylist() if r["check_id"] == CHECK and r["account_key"] == f"main/{account}"]
    assert {row["verdict"] for row in mine} == {"finding"}
    off_s = (mine[0]["since_utc"] - desk.window.until_utc).total_seconds() + WEEK[1] - begins
    assert abs(off_s) <= 2 * DAY
    subject = (f"main/{account}", mine[0]["subject"])
    said = {r["measure"]: r for r in found.weighed.to_pylist() if (r["account_key"], r["subject"]) == subject}
    assert list(said) == ["miss_rate", "shrunken_rate", "q_value", "own_weeks", "change_point"]
    assert said["miss_rate"]["low"] < mine[0]["k"] / mine[0]["n"] < said["miss_rate"]["high"]
    assert "began about" in said["change_point"]["words"]
    assert mine[0]["since_utc"] > desk.window.until_utc - timedelta(days=28)
    desk.con.close()


def test_only_the_rate_of_missed_tests_is_judged_by_a_q_value() -> None:
    """False discovery control belongs to rates: silence, a lost path or an unknown account's alarm has none."""
    reading = {path.stem for path in (queries() / "checks").glob("*.sql") if "q_value" in path.read_text("utf-8")}
    assert reading == {CHECK}
