"""Broken accounts told from sound ones, on crowds that were made and on a beta-binomial by scipy.

The published fit (rat tumour data) stands in test_stats_published.py. The crowds are simulated from a
seed, so who is broken is known: what is asked is whether a claim of 90 % is right in about 90 %.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from sigaudit.judging.mixtures import Beta, Mixture, expected_rate, fit_one, fit_two, p_broken, rate_limits, shrink


def crowd(seed: int, accounts: int, share: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Missed, due, and who is broken: sound ones miss 1 % on average, broken ones half."""
    rng = np.random.default_rng(seed)
    broken = rng.random(accounts) < share
    rate = np.where(broken, rng.beta(2, 2, accounts), rng.beta(1, 99, accounts))
    due = rng.choice([1, 7, 13, 30, 90, 120], accounts)
    return rng.binomial(due, rate), due, broken


MADE = Mixture(share=0.01, sound=Beta(1, 99), broken=Beta(2, 2))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_crowd_that_was_made_is_found_again(seed: int) -> None:
    k, n, broken = crowd(seed, 20_000, 0.01)
    found = fit_two(k, n)
    assert found is not None
    assert found.share == pytest.approx(broken.mean(), rel=0.4)
    assert found.sound.mean == pytest.approx(0.01, rel=0.1)
    assert found.broken.mean == pytest.approx(0.5, abs=0.15)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_claims_are_as_true_as_they_say(seed: int) -> None:
    k, n, broken = crowd(seed, 20_000, 0.01)
    found = fit_two(k, n)
    assert found is not None
    p = p_broken(k, n, found)
    claimed = p > 0.5
    assert broken[claimed].mean() == pytest.approx(p[claimed].mean(), abs=0.05)
    assert claimed[broken].mean() > 0.6
    assert p.sum() == pytest.approx(broken.sum(), rel=0.4)


def test_one_beta_pulls_dead_accounts_to_the_crowd_and_two_do_not() -> None:
    k, n, _ = crowd(1, 20_000, 0.01)
    found = fit_two(k, n)
    assert found is not None
    assert shrink(7, 7, fit_one(k, n)) < 0.5
    assert p_broken(7, 7, found) > 0.99


def test_one_of_one_never_leads() -> None:
    k, n, _ = crowd(1, 20_000, 0.01)
    found = fit_two(k, n)
    assert found is not None
    assert p_broken(1, 1, found) < p_broken(6, 30, found) < p_broken(12, 30, found)
    assert p_broken(1, 1, found) < 0.5


@pytest.mark.parametrize("seed", range(5))
def test_a_sound_crowd_is_not_split(seed: int) -> None:
    k, n, _ = crowd(seed, 3_000, 0.0)
    assert fit_two(k, n) is None


def test_no_misses_at_all_is_one_kind() -> None:
    assert fit_two(np.zeros(1000), np.full(1000, 30)) is None


def test_a_few_wholly_dead_accounts_are_two_kinds() -> None:
    k = np.r_[np.zeros(990), np.full(10, 30)]
    found = fit_two(k, np.full(1000, 30))
    assert found is not None
    assert found.share == pytest.approx(0.01, rel=0.05)
    assert p_broken(30, 30, found) > 0.999 > 0.001 > p_broken(0, 30, found)


def test_small_groups_are_not_fitted_and_accounts_with_nothing_due_do_not_count() -> None:
    k, n, _ = crowd(1, 199, 0.1)
    assert fit_two(k, n) is None
    assert fit_two(np.r_[k, np.zeros(500)], np.r_[n, np.zeros(500)]) is None
    with pytest.raises(ValueError, match="not one test"):
        fit_one([0, 0], [0, 0])
    with pytest.raises(ValueError, match="0 <= k <= n"):
        fit_one([2], [1])


@given(k=st.integers(0, 30), more=st.integers(0, 30))
def test_posterior_agrees_with_scipy(k: int, more: int) -> None:
    n = k + more
    sound = (1 - MADE.share) * scipy_stats.betabinom.pmf(k, n, MADE.sound.alpha, MADE.sound.beta)
    broken = MADE.share * scipy_stats.betabinom.pmf(k, n, MADE.broken.alpha, MADE.broken.beta)
    assert float(p_broken(k, n, MADE)) == pytest.approx(broken / (broken + sound), rel=1e-6)
    prior = MADE.sound
    low, high = rate_limits(k, n, prior, 0.9)
    of_scipy = scipy_stats.beta.ppf([0.05, 0.95], prior.alpha + k, prior.beta + n - k)
    assert [low, high] == pytest.approx([of_scipy[0] if k else 0.0, of_scipy[1] if more else 1.0])
    rate, below, above = expected_rate(k, n, MADE)
    p = float(p_broken(k, n, MADE))
    of_both = [scipy_stats.beta(kind.alpha + k, kind.beta + n - k) for kind in (MADE.sound, MADE.broken)]
    assert rate == pytest.approx((1 - p) * of_both[0].mean() + p * of_both[1].mean())
    for limit, tail in ((below, 0.025), (above, 0.975)):
        assert (1 - p) * of_both[0].cdf(limit - 2e-6) + p * of_both[1].cdf(limit - 2e-6) <= tail
        assert (1 - p) * of_both[0].cdf(limit + 2e-6) + p * of_both[1].cdf(limit + 2e-6) >= tail
    assert float(shrink(k, n, prior)) == pytest.approx(scipy_stats.beta.mean(prior.alpha + k, prior.beta + n - k))


@given(seed=st.integers(0, 50), n=st.integers(1, 120))
def test_one_more_miss_never_makes_an_account_look_sounder(seed: int, n: int) -> None:
    k, due, _ = crowd(seed, 400, 0.03)
    found = fit_two(k, due)
    if found is not None:
        assert np.all(np.diff(p_broken(np.arange(n + 1), n, found)) >= -1e-12)


def test_nothing_due_leaves_the_share_of_all() -> None:
    assert float(p_broken(0, 0, MADE)) == pytest.approx(MADE.share)


def test_order_of_accounts_does_not_matter() -> None:
    k, n, _ = crowd(4, 2_000, 0.02)
    order = np.random.default_rng(0).permutation(len(k))
    assert fit_two(k, n) == fit_two(k[order], n[order])
