"""The clocks behind an account's tests: one period, several timers, or a clock that drifts.

Tests of one range of accounts are read once; what is worked out from them is three small tables.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pyarrow as pa

from sigaudit.judging import combs, drift, rhythm
from sigaudit.judging.desk import Desk

# A rhythm is that of the recent weeks as soon as they hold this many tests (house).
RECENT = timedelta(weeks=5)
ENOUGH_TESTS = 8
# Fewer tests cannot hold two timers of five tests each.
LEAST_OF_TWO = 2 * combs.LEAST_TESTS
# Below this share of single steps a period may be the time between two timers, not that of one.
SURE_OF_ONE = 0.6
# A step of this size may be a clock change (half an hour in some zones); jitter is smaller.
LEAST_STEP_S = 1200.0

_TEXTS = (*rhythm.KEYS, "way")
_TIMES = ("first_utc", "last_utc")


def put_tables(desk: Desk) -> None:
    """Tables ``rhythm``, ``found_combs`` and ``test_drift`` of the accounts in view.

    Only periodic tests of sure time count. Rhythm and drift per account, origin and path: of the last five
    weeks where they hold enough tests, else of all, so that a timer changed lately does not hide behind
    its past. Each is told by elapsed time or by the wall clock, which some panels keep over a clock change.
    """
    since = desk.window.as_of_utc - RECENT
    # Trains heard on enough recent days need no older test; a train of one day only is looked at with its past.
    desk.make(
        "heard_lately",
        "select account_key, origin, path from test where test_kind = 'periodic' and time_doubt = 'exact'"
        f" and received_utc >= timestamp '{since}' group by all"
        f" having count(distinct cast(received_utc as date)) >= {ENOUGH_TESTS}",
    )
    tests = _tests(
        desk,
        "left join heard_lately as h on t.account_key = h.account_key and t.origin = h.origin and t.path = h.path",
        f"(h.account_key is null or t.received_utc >= timestamp '{since}')",
    )
    lately, others = _split(tests, since)
    of_recent, of_all = _either_clock(lately), _either_clock(others)
    found = _both(of_all, of_recent)
    desk.put("rhythm", _arrow(found))
    desk.put("odd_trains", _arrow(_odd(found)[rhythm.KEYS]))
    odd = _tests(
        desk,
        "inner join odd_trains as o on t.account_key = o.account_key and t.origin = o.origin and t.path = o.path",
        "true",
    )
    desk.put("found_combs", _arrow(_combs(odd)))
    desk.drop(("heard_lately", "odd_trains"))
    desk.put("test_drift", _arrow(_both(_drift(lately, of_recent), _drift(others, of_all))))


def _tests(desk: Desk, joined: str, where: str) -> pd.DataFrame:
    """Periodic tests of sure time by train and time, with the wall clock beside and the receiver line."""
    found: pd.DataFrame = desk.run(
        "select t.account_key, t.origin, t.path, t.received_utc,"
        " t.received_utc + c.offset_s * interval 1 second as received_local, t.receiver || '/' || t.line as way"
        " from test as t inner join calendar as c on t.received_utc >= c.from_utc and t.received_utc < c.until_utc"
        f" {joined} where t.test_kind = 'periodic' and t.time_doubt = 'exact' and {where} order by 1, 2, 3, 4"
    ).to_pandas()
    return found


def _split(tests: pd.DataFrame, since: datetime) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The recent tests of trains that hold enough of them, and all tests of the other trains."""
    group, starts = rhythm.groups(tests)
    recent = (tests["received_utc"] >= since).to_numpy()
    seconds = tests["received_utc"].to_numpy().astype("datetime64[us]").astype(np.int64)
    where = np.flatnonzero(recent)
    # Counted as the rhythm counts them: one told again within the minute is the same test.
    again = np.r_[False, (np.diff(group[where]) == 0) & (np.diff(seconds[where]) < rhythm.RESEND_S * 1e6)]
    again = again[: len(where)]  # no recent test at all: nothing before the first one either
    enough = np.bincount(group[where[~again]], minlength=len(starts)) >= ENOUGH_TESTS
    return tests[recent & enough[group]].reset_index(drop=True), tests[~enough[group]].reset_index(drop=True)


def _both(one: pd.DataFrame, other: pd.DataFrame) -> pd.DataFrame:
    parts = [part for part in (one, other) if len(part)]
    return pd.concat(parts).sort_values(rhythm.KEYS) if parts else one


def _either_clock(tests: pd.DataFrame) -> pd.DataFrame:
    """Rhythm by elapsed time; where that shows none, by the wall clock."""
    elapsed = rhythm.rhythm(tests)
    unsteady = elapsed[elapsed["period_s"].isna()][rhythm.KEYS]
    if unsteady.empty:
        return elapsed
    local = _local(tests.merge(unsteady, on=rhythm.KEYS))
    steady = rhythm.rhythm(local).dropna(subset="period_s")
    kept = elapsed.merge(steady[rhythm.KEYS], on=rhythm.KEYS, how="left", indicator=True)
    return pd.concat([kept[kept["_merge"] == "left_only"].drop(columns="_merge"), steady]).sort_values(rhythm.KEYS)


def _drift(tests: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Drift by elapsed time; where that shows a step, by the wall clock if it shows a smaller one."""
    elapsed = drift.drift(tests, found)
    stepped = elapsed[elapsed["largest_step_s"] > LEAST_STEP_S]
    if stepped.empty or tests["received_utc"].sub(tests["received_local"]).nunique() < 2:
        return elapsed  # without a clock change among these tests both clocks are one
    wall = drift.drift(_local(tests.merge(stepped[rhythm.KEYS], on=rhythm.KEYS)), found)
    wall = wall.drop(columns=list(_TIMES)).merge(stepped[[*rhythm.KEYS, *_TIMES]], on=rhythm.KEYS)[drift.COLUMNS]
    both = pd.concat([elapsed.assign(rank=0), wall.assign(rank=1)])
    both = both.sort_values([*rhythm.KEYS, "largest_step_s", "rank"])
    return both.drop_duplicates(rhythm.KEYS).drop(columns="rank").reset_index(drop=True)


def _odd(found: pd.DataFrame) -> pd.DataFrame:
    """Trains that may hold more than one timer."""
    unsure = found["period_s"].isna() | (found["single_step_share"] < SURE_OF_ONE)
    return found[(found["n"] >= LEAST_OF_TWO) & unsure]


def _combs(chosen: pd.DataFrame) -> pd.DataFrame:
    """Combs of the tests of odd trains, by the clock whose two fullest hold more of them."""
    by_clock = []
    for rank, clock in enumerate(("received_utc", "received_local")):
        told = combs.combs(chosen.assign(at=chosen[clock]).sort_values([*rhythm.KEYS, "at"]).reset_index(drop=True))
        full = told[told["comb_no"] <= 2].groupby(rhythm.KEYS)["n"].sum().rename("held").reset_index()
        by_clock.append(told.merge(full, on=rhythm.KEYS).assign(rank=rank))
    both = pd.concat(by_clock)
    if both.empty:
        return both[combs.COLUMNS]
    best = both.sort_values([*rhythm.KEYS, "held", "rank"], ascending=[True] * 3 + [False, True])
    kept = best.drop_duplicates(rhythm.KEYS)[[*rhythm.KEYS, "rank"]]
    return both.merge(kept, on=[*rhythm.KEYS, "rank"]).sort_values([*rhythm.KEYS, "comb_no"])[combs.COLUMNS]


def _local(tests: pd.DataFrame) -> pd.DataFrame:
    local = tests.drop(columns="received_utc").rename(columns={"received_local": "received_utc"})
    return local.sort_values([*rhythm.KEYS, "received_utc"]).reset_index(drop=True)


def _arrow(rows: pd.DataFrame) -> pa.Table:
    """The rows as a table whose columns have their type even where there are none."""
    whole = ("n", "comb_no")

    def kind(name: str) -> pa.DataType:
        if name in _TEXTS:
            return pa.string()
        return pa.timestamp("us") if name in _TIMES else pa.int64() if name in whole else pa.float64()

    return pa.table(
        {
            name: pa.array(rows[name].to_numpy(), kind(name), from_pandas=True)
            for name in rows.columns
            if name != "place"
        }
    )
