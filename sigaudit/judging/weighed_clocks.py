"""The time between signals: chatter and floods, a clock that drifts, a clock behind a code that is no test."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from sigaudit.judging import rhythm
from sigaudit.judging.arrivals import NOTABLE_Z, burstiness, longest_run, median_and_mad, robust_z
from sigaudit.judging.desk import Desk
from sigaudit.judging.drift import MOST_FOR_LIMITS, slope_limits
from sigaudit.judging.stats import conditional_test
from sigaudit.judging.telling import chance, hours, number
from sigaudit.judging.weighed import Answer, Findings, Said, key, texts
from sigaudit.store.shipped import query

CHATTER, FLOOD, DRIFT = "zone_chatter", "signal_flood", "test_time_drifting"
SILENT_TESTS = ("test_never_sent", "test_overdue")
_TIMER = -0.5  # burstiness below which the times are even enough for a timer (house)
_LEAST_DAYS = 8  # of a code that a clock may drive
_WEEKS = 12


def weigh(desk: Desk, findings: Findings, zone: ZoneInfo) -> Answer:
    """What the times between signals tell of findings of chatter, flood, drift and missing tests; no date changes."""
    said = [*_chatter(desk, findings.get(CHATTER, [])), *_floods(desk, findings.get(FLOOD, []))]
    said += _drifts(desk, findings.get(DRIFT, []))
    said += _steady_codes(desk, [row for check in SILENT_TESTS for row in findings.get(check, [])], zone)
    return said, {}


def _chatter(desk: Desk, rows: list[Mapping[str, Any]]) -> list[Said]:
    if not rows:
        return []
    desk.put("told_points", texts([(r["account_key"], r["subject"]) for r in rows], "account_key", "subject"))
    times = desk.run(query("report/point_times")).to_pandas()
    names = ["account_key", "subject"]
    group = times.groupby(names, sort=True).ngroup().to_numpy()
    at = times["at_s"].to_numpy()
    same = group[1:] == group[:-1]
    gaps, owner = np.diff(at)[same], group[1:][same]
    n_groups = int(group.max(initial=-1)) + 1
    even = burstiness(gaps, owner, n_groups)
    longest, runs = longest_run(gaps, owner, n_groups)
    usual = pd.Series(gaps).groupby(owner).median().reindex(range(n_groups)).to_numpy()
    points = times.drop_duplicates(names)[names].itertuples(index=False, name=None)
    place = {point: i for i, point in enumerate(points)}
    said = []
    for row in rows:
        i = place.get((row["account_key"], row["subject"]))
        if i is None or np.isnan(even[i]):
            continue
        words = f"longest run without five minutes' pause: {longest[i]} openings, {runs[i]} run(s) in all; half follow"
        words += f" within {hours(usual[i] / 3600)} of the one before; burstiness {even[i]:.2f} (-1 a timer, 0 chance,"
        words += " 1 bursts)"
        if even[i] < _TIMER:
            words += ": as even as a timer, so look for a relay or a clock before the detector"
        said.append(Said(*key(row), 1, "inter_arrival", float(even[i]), None, None, words))
    return said


def _floods(desk: Desk, rows: list[Mapping[str, Any]]) -> list[Said]:
    if not rows:
        return []
    desk.put("told_accounts", texts([(row["account_key"],) for row in rows], "account_key"))
    weeks = desk.run(query("report/own_weeks")).to_pandas()
    said = []
    for row in rows:
        mine = weeks[weeks["account_key"] == row["account_key"]].set_index("weeks_ago")["n"]
        now, first = int(mine.get(0, 0)), int(mine.index.max()) if len(mine) else 0
        before = mine.reindex(range(1, min(first, _WEEKS) + 1)).fillna(0).to_numpy()
        if len(before) < 3:
            continue
        middle, mad = median_and_mad(before)
        z = float(robust_z(now, middle, mad))
        words = f"{now:,} signals in the last seven days; in the {len(before)} weeks before {number(before.min())} to"
        words += f" {number(before.max())} a week, median {number(middle)}"
        if np.isnan(z):
            p = float(conditional_test(now, 1.0, before.sum(), float(len(before)))[0])
            words += f"; by chance {chance(p)} (exact conditional test)"
        else:
            words += f"; robust z {number(z)} (beyond {NOTABLE_Z} is notable)"
        said.append(Said(*key(row), 1, "own_weeks", float(now), float(before.min()), float(before.max()), words))
    return said


def _drifts(desk: Desk, rows: list[Mapping[str, Any]]) -> list[Said]:
    """Slope of the test time with its limits, over the same train as ``test_drift``."""
    if not rows:
        return []
    keys = texts([(r["account_key"], r["subject"].removeprefix("path=")) for r in rows], "account_key", "path")
    desk.put("told_trains", keys)
    trains = desk.run(
        "select d.account_key, d.path, d.period_s, epoch(r.received_utc) as at_s from kept_test_drift as d"
        " inner join told_trains as t on d.account_key = t.account_key and d.path = t.path"
        " inner join kept_received_slots as r on d.account_key = r.account_key and d.path = r.path"
        " and r.received_utc >= d.first_utc and r.received_utc <= d.last_utc and r.what = 'test'"
        " order by 1, 2, 4"
    ).to_pandas()
    said = []
    for row in rows:
        path = row["subject"].removeprefix("path=")
        mine = trains[(trains["account_key"] == row["account_key"]) & (trains["path"] == path)]
        if len(mine) < _LEAST_DAYS:
            continue
        at, period = mine["at_s"].to_numpy()[-MOST_FOR_LIMITS:], float(mine["period_s"].iloc[0])
        gaps = np.diff(at)
        off = np.r_[0.0, np.cumsum(gaps - np.rint(gaps / period) * period)]
        slope, low, high = (v * 86400 for v in slope_limits((at - at[0]), off))
        words = f"its test time moves {number(abs(slope))} s a day {'later' if slope > 0 else 'earlier'}"
        nearer, farther = sorted((abs(low), abs(high)))
        words += f", with 95 % confidence {number(nearer)} to {number(farther)} s" if low * high > 0 else ""
        said.append(Said(*key(row), 1, "drift", slope, low, high, f"{words} (Theil-Sen)"))
    return said


def _steady_codes(desk: Desk, rows: list[Mapping[str, Any]], zone: ZoneInfo) -> list[Said]:
    """A code other than a test that keeps a clock: the test may be programmed under it."""
    if not rows:
        return []
    desk.put("told_accounts", texts([(row["account_key"],) for row in rows], "account_key"))
    times = desk.run(query("report/code_times")).to_pandas()
    trains = times.rename(columns={"code": "origin", "point": "path"})
    counts = trains.groupby(rhythm.KEYS)["received_utc"].transform("size")
    trains = trains[counts >= _LEAST_DAYS].reset_index(drop=True)
    if trains.empty:
        return []
    found = rhythm.rhythm(trains).dropna(subset=["period_s"])
    said = []
    for row in rows:
        mine = found[found["account_key"] == row["account_key"]].sort_values("n", ascending=False)
        for one in mine.head(1).itertuples(index=False):
            local = pd.Timestamp(0) + pd.Timedelta(seconds=float(one.phase_s))
            told = (pd.Timestamp(desk.window.until_utc).normalize() + (local - pd.Timestamp(0))).tz_localize("UTC")
            words = f"{one.origin} zone {one.path} comes every {hours(one.period_s / 3600)} at about"
            words += f" {told.tz_convert(zone):%H:%M}, {one.n} times: perhaps the test is programmed under this code"
            said.append(Said(*key(row), 9, "steady_code", float(one.period_s), None, None, words))
    return said
