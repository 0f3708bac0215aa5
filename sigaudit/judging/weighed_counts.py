"""Line cuts and path losses: a week beside the account's own weeks, beside its peers, and since when."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from sigaudit.judging.change_points import Changes, changes
from sigaudit.judging.counts import Gamma, count_tail, dispersion, fit_gamma, rate_limits, shrunken_rate
from sigaudit.judging.desk import Desk
from sigaudit.judging.findings import moment
from sigaudit.judging.mixtures import LEAST_ACCOUNTS
from sigaudit.judging.stats import benjamini_hochberg, clopper_pearson, conditional_test
from sigaudit.judging.telling import chance, number
from sigaudit.judging.weighed import CLEAR, Answer, Findings, Said, key
from sigaudit.store.shipped import query

CHECKS = {"line_cut_flapping": "line_cuts", "supervision_flapping": "path_losses"}
_WORDS = {
    "line_cuts": ("line cuts", "accounts with a telephone path"),
    "path_losses": ("losses told", "accounts with a path other than a telephone line"),
}
# More than two on one day say no more about since when than two.
_MOST_A_DAY = 2
_WEEK = 7.0


def weigh(desk: Desk, findings: Findings, zone: ZoneInfo) -> Answer:
    """Own weeks, peers, q value and change of rate of each finding that counts losses of a line or path."""
    if not any(findings.get(check) for check in CHECKS):
        return [], {}
    days = desk.run(query("report/loss_days")).to_pandas()
    said: list[Said] = []
    since = {}
    for check, what in CHECKS.items():
        rows = {row["account_key"]: row for row in findings.get(check, [])}
        mine = days[days["what"] == what]
        if not rows or mine.empty:
            continue
        accounts = _accounts(mine)
        peers, words = _peers(accounts, what)
        accounts["q"] = benjamini_hochberg(count_tail(accounts["k1"], accounts["t1"], peers))
        asked = accounts[accounts.index.isin(list(rows))]
        if asked.empty:
            continue
        cells, lengths = _cells(mine[mine["account_key"].isin(list(asked.index))], asked)
        found = changes(cells, lengths, counts=True)
        for i, one in enumerate(asked.reset_index().to_dict("records")):
            told = {str(name): value for name, value in one.items()}
            row = rows[told["account_key"]]
            said.extend(_beside_own(row, told, _WORDS[what][0]))
            said.extend(_beside_peers(row, told, peers, words))
            if not found.before[i]:
                continue
            last = int(lengths[i])
            began = [
                desk.window.until_utc - timedelta(days=last - int(place[i]))
                for place in (found.before, found.earliest, found.latest)
            ]
            clear = bool(found.p[i] <= CLEAR)
            said.append(_change(row, found, i, [moment(at, zone)[:10] for at in began], clear=clear))
            if clear and found.rate_after[i] > found.rate_before[i]:
                since[key(row)] = began[0]
    return said, since


def _accounts(days: pd.DataFrame) -> pd.DataFrame:
    """By account: k1 in t1 days of the window, k0 in t0 days before it, has_kind."""
    window = days["window_days"]
    now = days["n"].where((days["days_ago"] >= 0) & (days["days_ago"] < window), 0)
    whole = days["n"].where(days["days_ago"] >= 0, 0)
    found = days.assign(k1=now, k0=whole - now).groupby("account_key", sort=True)
    made = found.agg({"k1": "sum", "k0": "sum", "watched_days": "first", "window_days": "first", "has_kind": "first"})
    made["t1"] = made["window_days"]
    made["t0"] = made["watched_days"] - made["t1"]
    return made


def _peers(accounts: pd.DataFrame, what: str) -> tuple[Gamma, str]:
    """Rates a day of the peers, learnt from the weeks before the window, and who they are in words."""
    alike = accounts[accounts["has_kind"] == 1]
    crowd, words = (alike, _WORDS[what][1]) if len(alike) >= LEAST_ACCOUNTS else (accounts, "accounts")
    before = crowd[crowd["t0"] >= 1]
    if before.empty:
        before = crowd.assign(k0=crowd["k1"], t0=crowd["t1"])
    peers = fit_gamma(before["k0"].to_numpy(), np.round(before["t0"].to_numpy(), 1))
    spread = "differ" if dispersion(before["k0"].to_numpy())[1] <= CLEAR else "do not differ"
    return peers, f"{len(crowd):,} {words}, whose rates {spread} from one another"


def _cells(days: pd.DataFrame, asked: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Cells of one day each, the last ending with the window, and how many each account has."""
    lengths = np.maximum(np.floor(asked["watched_days"].to_numpy()), 1).astype(np.int64)
    cells = np.zeros(int(lengths.sum()))
    place = dict(zip(asked.index, np.cumsum(lengths), strict=True))
    length = dict(zip(asked.index, lengths, strict=True))
    inside = days[(days["days_ago"] >= 0) & (days["days_ago"] < days["account_key"].map(length))]
    at = inside["account_key"].map(place).to_numpy() - 1 - inside["days_ago"].to_numpy()
    cells[at] = np.minimum(inside["n"].to_numpy(), _MOST_A_DAY)
    return cells, lengths


def _beside_own(row: Mapping[str, Any], one: Mapping[str, Any], what: str) -> list[Said]:
    k1, k0, t1, t0 = one["k1"], one["k0"], one["t1"], one["t0"]
    if t0 < _WEEK:
        return []
    p = float(conditional_test(k1, t1, k0, t0)[0])
    low, high = (float(v) for v in clopper_pearson(k1, k1 + k0))
    times = [share / (1 - share) * t0 / t1 if share < 1 else float("inf") for share in (low, high)]
    weeks = number(t0 / _WEEK)
    words = f"{k1:.0f} {what} in the window, {k0:.0f} in its own {weeks} weeks before"
    if p <= 0.05:
        words += f": at least {number(times[0])} times its own rate with 97.5 % confidence, by chance {chance(p)}"
    else:
        words += f": no clear change (chance {chance(p)})"
    return [Said(*key(row), 1, "own_weeks", p, times[0], times[1], f"{words} (exact conditional test)")]


def _beside_peers(row: Mapping[str, Any], one: Mapping[str, Any], peers: Gamma, words: str) -> list[Said]:
    k, t, week = one["k1"], one["t1"], _WEEK
    rate = float(shrunken_rate(k, t, peers)) * week
    low, high = (float(v) * week for v in rate_limits(k, t, peers))
    return [
        Said(
            *key(row), 2, "shrunken_rate", rate, low, high,
            f"weighed against {words}: {number(rate)} a week are to be expected of it ({number(low)} to"
            f" {number(high)}), of the crowd {number(peers.mean * week)}",
        ),
        Said(
            *key(row), 3, "q_value", float(one["q"]), None, None,
            f"so many at a site of that crowd by chance: q {chance(float(one['q']))} over all of them (false discovery"
            " rate)",
        ),
    ]  # fmt: skip


def _change(row: Mapping[str, Any], found: Changes, i: int, days: list[str], *, clear: bool) -> Said:
    before, after = (number(float(rate[i]) * _WEEK) for rate in (found.rate_before, found.rate_after))
    p = float(found.p[i])
    if not clear:
        words = f"no clear beginning in the weeks held (largest step: {before} a week to {after}; chance {chance(p)})"
    else:
        kind = "began" if found.rate_after[i] > found.rate_before[i] else "became rarer"
        words = f"{kind} about {days[0]}, between {days[1]} and {days[2]}: {before} a week before, {after} after"
        words += f" (a day counted as two at most); chance {chance(p)}"
    return Said(*key(row), 4, "change_point", p, None, None, words)
