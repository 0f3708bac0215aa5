"""Several timers in one train of tests, told apart.

A train whose gaps keep to no period may hold two clocks: a panel's and a forgotten one, or those of two
sites under one number. Each clock leaves a comb: tests that come again at the same place of its
period. The best comb is looked for, taken out, and the rest is searched again.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sigaudit.judging import rhythm
from sigaudit.judging.rhythm import DAY, HOUR

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A month holds too few of a longer period to tell two clocks apart.
PERIODS_S = tuple(HOUR * h for h in (1, 4, 6, 8, 12, 24, 48, 168))
WIDTH_S = 1800.0  # of the place a clock keeps, as the rhythm allows 900 s to either side; never over 1/12 period
LEAST_TESTS = 5
LEAST_SHARE = 0.6  # of a comb's cycles with a test; below, a multiple of the period fits as well
ROUNDS = 4
COLUMNS = [*rhythm.KEYS, "comb_no", "period_s", "phase_s", "n", "share", "first_utc", "last_utc", "way", "way_share"]


def combs(tests: pd.DataFrame) -> pd.DataFrame:
    """Combs of each train, the fullest first: one row per account, origin, path and comb.

    ``tests``: ``account_key, origin, path`` text, ``received_utc`` naive UTC, ``at`` the same instant on
    the clock to search by (naive), ``way`` text; sorted by the key and ``at``.

    Columns: the key; ``comb_no`` from 1; ``period_s``; ``phase_s`` mean second within the period; ``n``
    tests; ``share`` of its cycles with a test, 0-1; ``first_utc``, ``last_utc``; ``way`` most of its tests
    came in by and ``way_share`` of them. Method: phase clusters at candidate periods, the best comb
    removed before the next search (start values from simulation, tests/judging/test_combs.py).
    """
    if tests.empty:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in COLUMNS})
    group, starts = rhythm.groups(tests, "at")
    seconds = tests["at"].to_numpy().astype("datetime64[us]").astype(np.int64) / 1e6
    near = np.r_[False, (group[1:] == group[:-1]) & (np.diff(seconds) < rhythm.RESEND_S)]
    left = np.flatnonzero(~near)
    parts = []
    for number in range(1, ROUNDS + 1):
        best = _best(seconds[left], group[left], len(starts))
        if not best["weight"].any():
            break
        mine = _members(seconds[left], group[left], best)
        part = tests.iloc[left[mine]].assign(
            comb_no=number, period_s=best["period_s"][group[left[mine]]], place=seconds[left[mine]]
        )
        parts.append(part)
        left = left[~mine]
    return _told(pd.concat(parts)) if parts else combs(tests.iloc[:0])


def _best(seconds: Floats, group: Ints, n_groups: int) -> dict[str, Floats]:
    """The fullest comb of each group: period, shift of its grid and cell in it; weight 0 where none."""
    best = {name: np.zeros(n_groups) for name in ("weight", "period_s", "shift", "cell")}
    for period in PERIODS_S:
        width = _width(period)
        for shift in (0.0, width / 2):
            cell = np.floor(np.mod(seconds + shift, period) / width).astype(np.int64)
            cycle = np.floor((seconds + shift) / period).astype(np.int64)
            hits = pd.DataFrame({"group": group, "cell": cell, "cycle": cycle}).drop_duplicates()
            counted = hits.groupby(["group", "cell"])["cycle"].agg(["count", "min", "max"]).reset_index()
            span = counted["max"] - counted["min"] + 1
            # Weighed by how full it is: two combs may look like a thin one of half the period.
            counted["weight"] = counted["count"] * counted["count"] / span
            held = counted[(counted["count"] >= LEAST_TESTS) & (counted["count"] >= LEAST_SHARE * span)]
            top = held.sort_values(["group", "weight", "cell"], ascending=[True, False, True]).drop_duplicates("group")
            at = top["group"].to_numpy()
            better = top["weight"].to_numpy() > best["weight"][at]
            at, chosen = at[better], top[better]
            best["weight"][at] = chosen["weight"]
            best["period_s"][at] = period
            best["shift"][at] = shift
            best["cell"][at] = chosen["cell"]
    return best


def _members(seconds: Floats, group: Ints, best: dict[str, Floats]) -> NDArray[np.bool_]:
    """Tests within half a width of the mean place of their group's best comb."""
    period = np.where(best["weight"] > 0, best["period_s"], DAY)
    width = np.array([_width(p) for p in period])
    of, wide = period[group], width[group]
    inside = (best["weight"][group] > 0) & (
        np.floor(np.mod(seconds + best["shift"][group], of) / wide) == best["cell"][group]
    )
    centre, _ = rhythm.circular(seconds[inside], of[inside], group[inside], len(period))
    away = np.abs(np.mod(seconds - np.nan_to_num(centre)[group] + of / 2, of) - of / 2)
    return (best["weight"][group] > 0) & (away <= wide / 2)


def _width(period: float) -> float:
    return min(WIDTH_S, period / 12)


def _told(rows: pd.DataFrame) -> pd.DataFrame:
    key = [*rhythm.KEYS, "comb_no"]
    rows = rows.sort_values([*key, "received_utc"]).reset_index(drop=True)
    number = rows.groupby(key, sort=True).ngroup().to_numpy().astype(np.int64)
    n_combs = int(number.max()) + 1
    place, period = rows["place"].to_numpy(), rows["period_s"].to_numpy()
    phase, _ = rhythm.circular(place, period, number, n_combs)
    told = rows.groupby(key, sort=True).agg(
        period_s=("period_s", "first"),
        n=("received_utc", "size"),
        first_utc=("received_utc", "first"),
        last_utc=("received_utc", "last"),
    )
    told["phase_s"] = phase
    spans = (told["last_utc"] - told["first_utc"]).dt.total_seconds()
    told["share"] = np.minimum(1.0, told["n"] / (np.rint(spans / told["period_s"]) + 1))
    ways = rows.groupby([*key, "way"], sort=True).size().rename("n_way").reset_index()
    ways = ways.sort_values([*key, "n_way", "way"], ascending=[True] * 4 + [False, True]).drop_duplicates(key)
    told = told.reset_index().merge(ways, on=key)
    told["way_share"] = told["n_way"] / told["n"]
    return told[COLUMNS]
