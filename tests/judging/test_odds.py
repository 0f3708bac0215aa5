"""Peers of a path, and what a path's misses mean beside theirs. Crowds are made from a seed, so the truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from sigaudit.judging import odds
from sigaudit.judging.mixtures import LEAST_ACCOUNTS


def station(seed: int, paths: int) -> tuple[np.ndarray, np.ndarray, list[list[str]]]:
    """Radio paths miss 4 % and telephone paths half a percent; one path in a hundred is broken."""
    rng = np.random.default_rng(seed)
    radio = rng.random(paths) < 0.3
    rate = np.where(radio, rng.beta(4, 96, paths), rng.beta(1, 199, paths))
    rate = np.where(rng.random(paths) < 0.01, rng.beta(2, 2, paths), rate)
    n = rng.choice([4, 28, 112], paths)
    kind = np.where(radio, "radio", "phone").tolist()
    return rng.binomial(n, rate), n, [kind, rng.choice(["1/1", "1/2"], paths).tolist(), ["fire"] * paths]


@pytest.mark.parametrize("seed", [1, 2])
def test_a_path_is_weighed_against_its_own_kind(seed: int) -> None:
    k, n, traits = station(seed, 6000)
    found = odds.miss_odds(k, n, traits)
    healthy = np.asarray(found["healthy_rate"])
    radio = np.array(traits[0]) == "radio"
    assert healthy[radio] == pytest.approx(0.04, rel=0.25)
    assert healthy[~radio] == pytest.approx(0.005, rel=0.4)
    # The same 5 of 112: nothing for a radio path, much for a telephone path.
    p = np.asarray(found["p_value"])
    same = (k == 5) & (n == 112)
    assert p[same & radio].min() > 0.2
    assert p[same & ~radio].max() < 0.01


def test_too_narrow_a_crowd_gives_way_to_the_wider() -> None:
    k, n, traits = station(1, 6000)
    traits[1] = ["9/9" if i < 100 else line for i, line in enumerate(traits[1])]
    found, member = odds.crowds(k, n, traits)
    few = [found[member[i]] for i in range(100)]
    assert {crowd.shared for crowd in few} == {("radio",), ("phone",)}
    assert {len(found[m].shared) for m in member[100:]} == {3}
    for crowd in found:
        assert crowd.paths >= LEAST_ACCOUNTS


def test_a_small_station_keeps_the_start_values_and_says_so() -> None:
    found = odds.miss_odds(np.array([1, 11]), np.array([28, 28]), [["radio"] * 2, ["1/1"] * 2, ["fire"] * 2])
    assert found["peers"] == ["start values, too few paths to learn from"] * 2
    rate, low, high = (np.asarray(found[name]) for name in ("shrunken_rate", "shrunken_low", "shrunken_high"))
    assert rate[0] < 1 / 28  # one miss is drawn towards the crowd
    assert rate[1] == pytest.approx(11 / 28, abs=0.03)  # eleven are not
    assert np.all((low < rate) & (rate < high))


def test_in_words() -> None:
    k, n, traits = station(1, 6000)
    told = set(odds.miss_odds(k, n, traits)["peers"])
    assert "phone paths on receiver line 1/2, fire systems" in told
    assert odds.Crowd((), 300, odds.START, True).told() == "all paths of the station"
    assert odds.Crowd(("panel",), 300, odds.START, True).told() == "panel tests"
    assert odds.Crowd(("",), 300, odds.START, True).told() == "accounts as a whole"


def test_nobody_due_and_nobody_there() -> None:
    assert len(odds.miss_odds(np.zeros(0, np.int64), np.zeros(0, np.int64))["p_broken"]) == 0
    found = odds.miss_odds(np.zeros(3, np.int64), np.zeros(3, np.int64))
    assert np.asarray(found["p_broken"]) == pytest.approx(odds.START.share)
    assert np.asarray(found["p_value"]).tolist() == [1.0] * 3
