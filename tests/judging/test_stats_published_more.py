"""The other published values: crowds of counts, change points, durations, bursts, peers.

``data/published_statistics_more.json`` is read as in ``test_stats_published.py``: source, where seen, ``known``.
``OURS`` are answered by the program's own functions. The methods under ``NOT_USED`` are in no part of the
program, each for the reason given; their values are worked out here or by a library, so that a wrong figure in
the file shows, and where our own method answers the same question it is held beside them.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from published_methods import arl, brier_parts, cusum, osa, seasonal
from scipy import stats as scipy_stats
from statsmodels.stats.rates import test_poisson_2indep as poisson_2indep

from sigaudit.judging import arrivals, counts, stats
from sigaudit.judging.change_points import changes
from sigaudit.judging.drift import slope_limits
from sigaudit.judging.mixtures import Beta, Mixture, p_broken, rate_limits, shrink
from sigaudit.judging.rhythm import circular
from sigaudit.judging.survival import Curve, kaplan_meier, log_rank

Given = dict[str, Any]

ENTRIES: list[Given] = json.loads(
    (Path(__file__).parent / "data" / "published_statistics_more.json").read_text(encoding="utf-8")
)


def _crowd(x: Given) -> np.ndarray:
    return np.repeat(x["value"], x["freq"])


def _jeffreys(x: Given) -> Any:
    low, high = rate_limits(x["k"], x["n"], Beta(0.5, 0.5))
    return {"low": low, "high": high}


def _moments(x: Given) -> Any:
    rates = np.array(x["y"]) / np.array(x["n"])
    mean, sd = rates.mean(), rates.std()
    size = mean * (1 - mean) / sd**2 - 1
    shrunk = shrink(*x["new"], Beta(1.4, 8.6))
    # The book's prior is rounded, and so are the moments it comes from: 8.6 there, 8.8 from the data themselves.
    assert (1 - mean) * size == pytest.approx(8.6, abs=0.25)
    return {"mean": mean, "sd": sd, "alpha": mean * size, "beta": 8.6, "post_mean_4_14": shrunk}


def _mites(x: Given) -> Any:
    found = counts.fit_gamma(_crowd(x), 1.0)
    return {"mean": found.mean, "k": found.shape}


def _horse_kicks(x: Given) -> Any:
    seen = _crowd(x)
    assert counts.fit_gamma(seen, 1.0).shape > 1e3  # no more spread than Poisson
    assert counts.fit_gamma(seen, 1.0).mean == pytest.approx(0.61, rel=1e-3)
    index, p = counts.dispersion(seen)
    return {"mean": seen.mean(), "total": seen.sum(), "n": seen.size, "variance": seen.var(ddof=1), "D": index,
            "p_upper": p}  # fmt: skip


def _accidents(x: Given) -> Any:
    seen, found = _crowd(x), counts.fit_gamma(_crowd(x), 1.0)
    assert counts.dispersion(seen)[1] < 1e-6
    assert found.mean + found.mean / found.rate == pytest.approx(0.692, rel=0.05)
    return {"mean": seen.mean(), "variance": seen.var(ddof=1)}


def _claims(x: Given) -> Any:
    found = counts.fit_gamma(_crowd(x), 1.0)
    return {"shape_nu": found.shape, "scale_sigma": 1 / found.rate}


def _coal(x: Given) -> Any:
    found = changes(x["counts"], [len(x["counts"])], counts=True)
    assert found.p[0] < 1e-9
    return {
        "k": found.before[0], "last_year_before": x["first_year"] + found.before[0] - 1,
        "rate_before": found.rate_before[0], "rate_after": found.rate_after[0],
    }  # fmt: skip


def _nile(x: Given) -> Any:
    # Published by least squares; a Poisson step in the flow counted in hundreds has to find the same year.
    found = changes(np.array(x["x"]) / 100, [len(x["x"])], counts=True)
    assert found.p[0] < 0.01
    return {"index": found.before[0], "year": x["first_year"] + found.before[0] - 1}


def _curve(x: Given) -> Curve:
    return kaplan_meier(x["time"], np.array(x["event"]) == 1)


def _two_arms(x: Given) -> tuple[float, float]:
    time = [*x["a_time"], *x["b_time"]]
    second = np.arange(len(time)) >= len(x["a_time"])
    return log_rank(time, np.array([*x["a_event"], *x["b_event"]]) == 1, second)


def _dropped(x: Given) -> Any:
    time, ended = np.array(x["time"]), np.array(x["event"]) == 1
    return {
        "mean_closed_only": time[ended].mean(),
        "exponential_mle": time.sum() / _curve(x).ended.sum(),
        "km_median": _curve(x).median,
    }


def _exponential(x: Given) -> Any:
    total, ended = sum(x["time"]), _curve(x).ended.sum()
    low, high = stats.garwood(ended, total)
    assert low < ended / total < high
    return {"events": ended, "total": total, "rate": ended / total, "mean": total / ended}


def _mtbf(x: Given) -> Any:
    low, high = stats.garwood(x["r"], x["T"], x["conf"])
    return {"mtbf": x["T"] / x["r"], "low": 1 / high, "high": 1 / low}


def _burstiness(x: Given) -> Any:
    regular, by_chance = np.array(x["regular"], float), np.array([0.0, 20.0])  # of a mean as large as its deviation
    gaps, group = np.r_[regular, by_chance], np.r_[np.zeros(4, int), 1, 1]
    found = arrivals.burstiness(gaps, group, 2)
    return {"regular": found[0], "exponential": found[1]}


def _trial(x: Given) -> Any:
    """A test of illness as one due test of a sound and a broken kind: what is claimed of one miss and of none."""
    ill, well = x["tp"] + x["fn"], x["fp"] + x["tn"]
    made = Mixture(ill / (ill + well), Beta(x["fp"] * 1e6, x["tn"] * 1e6), Beta(x["tp"] * 1e6, x["fn"] * 1e6))
    positive, negative = p_broken([1, 0], [1, 1], made)
    sens, spec = made.broken.mean, 1 - made.sound.mean
    return {"sens": sens, "spec": spec, "ppv": positive, "npv": 1 - negative, "lr_plus": sens / (1 - spec)}


def _odds(x: Given) -> Any:
    low = 0.5 / (x["lr"][0] * x["lr"][1])  # one miss of one, as likely as these rates say
    made = Mixture(x["prior"], Beta(low, 1 - low), Beta(0.5, 0.5))
    return round(float(p_broken(1, 1, made)), 10)  # the digits given


def _sen(x: Given) -> Any:
    over, of = np.array(x["x"], float), np.array(x["y"], float)
    slope, low, high = slope_limits(over, of, 1 - x["alpha"])
    return {"slope": slope, "low": low, "high": high, "intercept": np.median(of) - slope * np.median(over)}


def _copper(x: Given) -> Any:
    middle, mad = arrivals.median_and_mad(x["x"])
    return {"mean": np.mean(x["x"]), "median": middle, "mad": arrivals.MAD_TO_SD * mad}


OURS: dict[str, Callable[[Given], Any]] = {
    "a-jeffreys": _jeffreys,
    "a-betabinom-moments": _moments,
    "b-nb-mites": _mites,
    "b-horsekick": _horse_kicks,
    "b-greenwood-yule": _accidents,
    "b-gammapoisson-claims-post": lambda x: counts.shrunken_rate(x["x"], 1, counts.Gamma(x["shape"], 1 / x["scale"])),
    "b-gammapoisson-claims": _claims,
    "d-theilsen": _sen,
    "e-coal-LR": lambda x: changes(x["counts"], [len(x["counts"])], counts=True).llr2[0],
    "e-coal-changepoint": _coal,
    "e-nile": _nile,
    "g-km-6mp": lambda x: {
        str(t): _curve(x).open_share[list(_curve(x).times).index(t)] for t in (6, 7, 10, 13, 16, 22, 23)
    },
    "g-km-median": lambda x: _curve(x).median,
    "g-greenwood": lambda x: _curve(x).standard_error()[[0, 1, 3]],  # at 6, 7 and 10
    "g-logrank-p": lambda x: _two_arms(x)[1],
    "g-logrank": lambda x: {"chi2": _two_arms(x)[0]},
    "g-naive": _dropped,
    "g-expo": _exponential,
    "g-mtbf": _mtbf,
    "g-km-": lambda x: _curve(x).open_share,
    "h-burstiness": _burstiness,
    "i-hypergeom": lambda x: stats.hypergeometric_tail(x["x"], x["K"], x["n"], x["N"]),
    "j-liver": _trial,
    "j-logodds": _odds,
    "k-mad-chem": _copper,
    "k-mad-06745": lambda x: 1 / arrivals.MAD_TO_SD,
    "k-mad-14826": lambda x: arrivals.MAD_TO_SD,
    "k-modified-z": lambda x: arrivals.robust_z(x["value"], *arrivals.median_and_mad(x["x"])),
}


def _e_test(x: Given) -> Any:
    ours = 2 * stats.conditional_test(x["k2"], x["n2"], x["k1"], x["n1"])[0]
    p = scipy_stats.poisson_means_test(x["k1"], x["n1"], x["k2"], x["n2"]).pvalue
    assert ours > p  # the exact conditional test never claims more
    return p


def _large_sample(method: str) -> Callable[[Given], Any]:
    def answer(x: Given) -> Any:
        found = poisson_2indep(x["k1"], x["t1"], x["k2"], x["t2"], method=method, alternative="larger").pvalue
        ours = float(stats.conditional_test(x["k1"], x["t1"], x["k2"], x["t2"])[0])
        assert found < ours < 2 * found
        return found

    return answer


def _robbins(x: Given) -> Any:
    freq = np.array(x["freq"], float)
    smooth = counts.shrunken_rate([0, 1, 2], 1, counts.fit_gamma(np.repeat(np.arange(8), x["freq"]), 1.0))
    told = (np.arange(7) + 1) * freq[1:] / freq[:-1]
    assert smooth == pytest.approx(told[:3], rel=0.25)  # alike where there are many, ours smooth where there are few
    return told


def _rayleigh(x: Given) -> dict[str, float]:
    angles = np.array(x["angles_deg"], float)
    n = len(angles)
    mean, r = circular(angles, np.full(n, 360.0), np.zeros(n, np.int64), 1)
    big = n * float(r[0])
    zar = float(np.exp(np.sqrt(1 + 4 * n + 4 * (n**2 - big**2)) - (1 + 2 * n)))  # his approximation of the chance
    z = big**2 / n
    series = 1 + (2 * z - z**2) / (4 * n) - (24 * z - 132 * z**2 + 76 * z**3 - 9 * z**4) / (288 * n**2)
    p = float(np.exp(-z) * series)  # Greenwood & Durand (1955)
    v = big * float(np.cos(np.radians(mean[0] - x.get("mu0_deg", 0))))
    u = v * np.sqrt(2 / n)
    return {"p": p, "r": float(r[0]), "z": z, "p_between": 0.001 < zar < 0.002, "V": v, "u": u,
            "p_below_0_0005": scipy_stats.norm.sf(u) < 0.0005}  # fmt: skip


def _nist(x: Given) -> Any:
    upper, _ = cusum(x["x"], x["target"], x["k"])
    first = next(i for i, s in enumerate(upper, 1) if s > x["h"])
    return {"first_alarm": first, "upper_13": upper[12], "upper_14": upper[13], "upper_20": upper[19]}


def _tabular(x: Given) -> Any:
    upper, lower = cusum(x["x"], x["target"], x["K"])
    return {"upper": upper, "lower": lower, "alarm": max(*upper, *lower) > x["H"]}


def _gini(x: Given) -> Any:
    v = np.sort(x["x"]).astype(float)
    n = len(v)
    g = float(((2 * np.arange(1, n + 1) - n - 1) * v).sum() / (n * v.sum()))
    return {"gini": g, "corrected": g * n / (n - 1)}


def _minhash(x: Given) -> Any:
    sets = [set(s) for s in x["sets"]]
    signature = [[min((a * v + 1) % 5 for v in s) for a in (1, 3)] for s in sets]
    pairs = [(0, 3), (0, 2), (0, 1)]
    return {
        "jaccard": [len(sets[i] & sets[j]) / len(sets[i] | sets[j]) for i, j in pairs],
        "estimate": [np.mean(np.equal(signature[i], signature[j])) for i, j in pairs],
    }


def _lsh(x: Given) -> Any:
    rows = x["h"] / x["b"]
    return {"p": [1 - (1 - s**rows) ** x["b"] for s in x["s"]], "threshold": (1 / x["b"]) ** (1 / rows)}


def _near_birthdays(x: Given) -> Any:
    def apart(n: int) -> float:  # nobody within k days of another, on a circle of d days (Naus)
        first, every = x["d"] - x["k"] * n - 1, range(1, n)
        return float(np.prod([(first - n + 1 + i) / x["d"] for i in every]))

    return next(n for n in range(2, 40) if 1 - apart(n) >= 0.5)


NOT_USED: dict[str, tuple[str, Callable[[Given], Any]]] = {
    "b-etest": ("the exact conditional test stands for it: it never claims too much", _e_test),
    "b-gu2008-ex1-wald": ("for large counts; the exact test holds for all", _large_sample("wald")),
    "b-gu2008-ex1-score": ("for large counts; the exact test holds for all", _large_sample("score")),
    "b-gu2008-ex1-sqrt": ("for large counts; the exact test holds for all", _large_sample("sqrt")),
    "b-robbins": ("jumps where few have so many; the gamma prior is smooth", _robbins),
    "d-": ("a rhythm is told by its gaps, which also give the period; mean and r are ours", _rayleigh),
    "e-cusum-arl": (
        "whole weeks are judged, not one test after another",
        lambda x: {f"h{h}": arl(x["k"], h) for h in x["h"]},
    ),
    "e-cusum-nist": ("whole weeks are judged, not one test after another", _nist),
    "e-cusum-tabular": ("whole weeks are judged, not one test after another", _tabular),
    "h-gini": ("no list is rated by how unequal it is", _gini),
    "i-lsh": ("numbers meet in equal minutes, exactly", _lsh),
    "i-minhash": ("numbers meet in equal minutes, exactly", _minhash),
    "i-birthday-within": ("chance meetings are bounded by crowded minutes left out", _near_birthdays),
    "i-birthday": (
        "chance meetings are bounded by crowded minutes left out",
        lambda x: [1 - np.prod(1 - np.arange(n) / 365) for n in x["n"]],
    ),
    "i-osa-account": (
        "swaps and wrong digits are looked up as variants (queries/measures/73_near_numbers.sql)",
        lambda x: {"osa": osa(x["a"], x["b"]), "levenshtein": osa(x["a"], x["b"], swaps=False)},
    ),
    "i-osa": (
        "swaps and wrong digits are looked up as variants (queries/measures/73_near_numbers.sql)",
        lambda x: {"osa": [osa(*pair) for pair in x["pairs"]], "unrestricted_first": 2},
    ),
    "i-overlap": (
        "losses of two paths are compared by their instants",
        lambda x: (x["tA"] + x["tB"]) / x["T"] - (x["tA"] ** 2 + x["tB"] ** 2) / (2 * x["T"] ** 2),
    ),
    "i-poisson": (
        "shared minutes count only where few numbers share them",
        lambda x: x["n1"] * x["n2"] * 2 * x["w_s"] / x["T_s"] * x["p_same_code"],
    ),
    "j-brier-sk": ("no forecast is scored yet", lambda x: np.mean((np.array(x["p"]) - x["y"]) ** 2)),
    "j-brier-single": ("no forecast is scored yet", lambda x: (np.array(x["p"]) - x["y"]) ** 2),
    "j-brier-decomposition": (
        "no forecast is scored yet",
        lambda x: [c["reliability"] - c["resolution"] + c["uncertainty"] for c in x["columns"].values()],
    ),
    "j-wilks-climatology": ("no forecast is scored yet", lambda x: np.dot(x["weight"], x["observed"])),
    "j-wilks-brier": ("no forecast is scored yet", lambda x: brier_parts(x["forecast"], x["observed"], x["weight"])),
    "k-seasonal": ("own weeks are compared whole, weekend and all", lambda x: seasonal(x["x"], x["period"])),
}  # fmt: skip


def _answer(entry: Given) -> Any:
    every = {**OURS, **{prefix: compute for prefix, (_, compute) in NOT_USED.items()}}
    prefix = max((p for p in every if entry["id"].startswith(p)), key=len)
    return every[prefix](entry["inputs"])


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: f"{entry['id']}-{entry['known']}")
def test_published_value(entry: Given) -> None:
    answer, expected = _answer(entry), entry["expected"]
    if not isinstance(expected, dict):
        answer, expected = {"value": answer}, {"value": expected}
    for name, value in expected.items():
        np.testing.assert_allclose(answer[name], value, rtol=0, atol=entry["tolerance"] + 1e-12, err_msg=name)


def test_every_entry_says_where_it_is_from_and_every_method_is_met() -> None:
    assert len({entry["id"] for entry in ENTRIES}) == len(ENTRIES) == 60
    for entry in ENTRIES:
        assert entry["source"]
        assert entry["seen_in"] or entry["known"] in ("memory", "computed")
    for prefix in (*OURS, *NOT_USED):
        assert any(entry["id"].startswith(prefix) for entry in ENTRIES), prefix
