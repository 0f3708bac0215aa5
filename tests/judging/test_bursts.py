"""The scan for bursts against simulation: how often it invents one, and that it finds where one begins and ends.

The published values of its formula are in ``test_stats_published``.
"""

from __future__ import annotations

import numpy as np
import pytest

from sigaudit.judging import bursts
from sigaudit.judging.bursts import DAY_S, Burst, Groups, Losses, Rule, scan_tail, strongest

SPAN = 35 * DAY_S


def losses(rows: list[tuple[int, int, float]], per_site: int = 1) -> Losses:
    """(group, account, time [s]) as losses; ``per_site`` accounts stand at one site."""
    group, account, at = (np.array(column) for column in zip(*sorted(rows, key=lambda r: (r[0], r[2])), strict=True))
    at = at.astype(np.float64)
    return Losses(group.astype(np.int64), account.astype(np.int64), account.astype(np.int64) // per_site, at, at)


def groups(n: int, size: int = 100, rank: int = 0) -> Groups:
    return Groups(np.full(n, SPAN), np.full(n, rank), np.full(n, size))


def by_chance(seed: int, n_groups: int, per_group: int, accounts: int = 100) -> list[tuple[int, int, float]]:
    random = np.random.default_rng(seed)
    return [
        (g, int(random.integers(accounts)) + 1000 * g, float(random.uniform(0, SPAN)))
        for g in range(n_groups)
        for _ in range(per_group)
    ]


def struck(group: int, n: int, begin: float, spread: float, first: int = 500) -> list[tuple[int, int, float]]:
    return [(group, first + i, begin + spread * i / max(n - 1, 1)) for i in range(n)]


def test_formula_against_simulated_points() -> None:
    """Largest count in any window of a twelfth of the span, 20 points: simulated and by the formula."""
    random = np.random.default_rng(3)
    points = np.sort(random.uniform(size=(20_000, 20)), axis=1)
    for k in (6, 7, 8):
        spans = points[:, k - 1 :] - points[:, : 20 - k + 1]
        seen = float((spans.min(axis=1) <= 1 / 12).mean())
        assert float(scan_tail(k, 20, 1 / 12)) == pytest.approx(seen, rel=0.15, abs=0.002)


def test_formula_refuses_what_cannot_be() -> None:
    for k, n, w in ((0, 5, 0.1), (6, 5, 0.1), (2, 5, 0.0), (2, 5, 0.6)):
        with pytest.raises(ValueError, match="one to n events"):
            scan_tail(k, n, w)


def test_invents_no_more_than_its_chance_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """At a corrected chance of one in five, at most about one of five stations without a burst shows one."""
    monkeypatch.setattr(bursts, "IMPROBABLE", 0.2)
    easy = Rule(accounts=3, sites=3, ratio=1.0)
    found = sum(strongest(losses(by_chance(seed, 12, 40)), groups(12), easy) is not None for seed in range(100))
    assert found <= 28  # binomial(100, 0.2): 28 or fewer with a chance of 98 %


def test_one_burst_is_found_with_its_edges() -> None:
    rows = by_chance(1, 6, 30) + struck(4, 12, 20 * DAY_S, 1800)
    found = strongest(losses(rows), groups(6), Rule())
    assert found is not None
    assert (found.group, found.from_s, found.last_s, found.accounts) == (4, 20 * DAY_S, 20 * DAY_S + 1800, 12)
    assert found.p < 1e-12 and found.expected < 0.1


def test_a_loss_half_an_hour_before_is_not_drawn_in() -> None:
    rows = [*struck(0, 12, 20 * DAY_S, 600), (0, 900, 20 * DAY_S - 1800), *by_chance(2, 1, 10)]
    found = strongest(losses(rows), groups(1), Rule())
    assert found is not None and found.from_s == 20 * DAY_S


def test_a_neighbourhood_of_two_sites_is_no_area() -> None:
    rows = struck(0, 8, 20 * DAY_S, 300)
    assert strongest(losses(rows, per_site=4), groups(1), Rule()) is None
    assert strongest(losses(rows, per_site=2), groups(1), Rule()) is not None


def test_four_accounts_are_too_few() -> None:
    assert strongest(losses(struck(0, 4, 20 * DAY_S, 60)), groups(1), Rule()) is None


def test_one_account_that_comes_and_goes_counts_once() -> None:
    rows = [(0, 7, 20 * DAY_S + 300.0 * i) for i in range(200)]
    assert strongest(losses(rows), groups(1), Rule()) is None


def test_a_group_that_is_always_noisy_has_no_incident() -> None:
    """Sixty accounts, each down twice a day at any hour: five within a quarter hour is its ordinary state."""
    random = np.random.default_rng(5)
    rows = [(0, a, float(random.uniform(0, SPAN))) for a in range(60) for _ in range(70)]
    assert strongest(losses(rows), groups(1), Rule()) is None


def test_what_happens_at_the_same_hour_every_day_is_no_incident() -> None:
    """Eight other accounts of 300 lose their path at three every night: a habit of the network, not an incident."""
    random = np.random.default_rng(6)
    rows = [
        (0, int(a), day * DAY_S + 3 * 3600 + float(random.uniform(0, 600)))
        for day in range(35)
        for a in random.choice(300, 8, replace=False)
    ]
    assert strongest(losses(rows), groups(1), Rule()) is None
    more = [*rows, *struck(0, 60, 20 * DAY_S + 3 * 3600, 600)]
    assert strongest(losses(more), groups(1), Rule()) is not None


def test_of_two_groups_that_explain_it_alike_the_nearer_cause_is_named() -> None:
    rows = struck(0, 12, 20 * DAY_S, 600) + struck(1, 12, 20 * DAY_S, 600)
    both = Groups(np.full(2, SPAN), np.array([6, 0]), np.array([40, 40]))
    found = strongest(losses(rows), both, Rule())
    assert isinstance(found, Burst) and found.group == 1


def test_a_nearer_cause_that_holds_nearly_all_is_named_although_the_wider_group_stands_out_more() -> None:
    """25 struck share a network; the wider group holds them and two more that chance adds in the same hours."""
    nearer = struck(1, 25, 20 * DAY_S, 9 * 3600)
    wider = struck(0, 25, 20 * DAY_S, 9 * 3600) + struck(0, 2, 20 * DAY_S + 3600, 5 * 3600, first=900)
    rows = by_chance(5, 2, 12) + nearer + wider
    both = Groups(np.full(2, SPAN), np.array([4, 2]), np.array([130, 57]))
    found = strongest(losses(rows), both, Rule())
    assert isinstance(found, Burst) and (found.group, found.accounts) == (1, 25)


def test_a_wider_group_of_which_the_nearer_holds_half_is_named() -> None:
    nearer, wider = struck(1, 12, 20 * DAY_S, 3600), struck(0, 25, 20 * DAY_S, 3600)
    both = Groups(np.full(2, SPAN), np.array([4, 2]), np.array([130, 57]))
    found = strongest(losses(nearer + wider), both, Rule())
    assert isinstance(found, Burst) and found.group == 0
