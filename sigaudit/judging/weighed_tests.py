"""Missed tests: how often, beside the peers, beside the account's own weeks before, and since when."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from sigaudit.judging.change_points import Changes, changes
from sigaudit.judging.desk import Desk
from sigaudit.judging.findings import moment
from sigaudit.judging.stats import hypergeometric_tail
from sigaudit.judging.telling import chance, share
from sigaudit.judging.weighed import CLEAR, Answer, Findings, Said, key, texts
from sigaudit.store.shipped import query

CHECK = "tests_missed_often"
_TRAIN = ["account_key", "path", "what"]


def weigh(desk: Desk, findings: Findings, zone: ZoneInfo) -> Answer:
    """Rate, shrunken rate, q value, own weeks and change of rate of each finding of ``tests_missed_often``."""
    rows = findings.get(CHECK, [])
    if not rows:
        return [], {}
    desk.put("told_paths", texts([(row["account_key"], *_path(row["subject"])) for row in rows], *_TRAIN))
    odds = desk.run(
        "select o.* from all_test_odds as o inner join told_paths as t on o.account_key = t.account_key"
        " and o.path = t.path and o.what = t.what"
    ).to_pylist()
    by_train = {tuple(one[name] for name in _TRAIN): one for one in odds}
    cells = desk.run(query("report/test_cells")).to_pandas()
    numbers = cells.groupby(_TRAIN, sort=False).ngroup().to_numpy()
    lengths = np.bincount(numbers) if len(cells) else np.zeros(0, dtype=np.int64)
    found = changes(cells["missed"].to_numpy(), lengths, counts=False)
    trains = {train: i for i, train in enumerate(cells[_TRAIN].drop_duplicates().itertuples(index=False, name=None))}
    weeks = _own_weeks(cells, numbers, len(lengths))
    first = np.cumsum(lengths) - lengths
    said: list[Said] = []
    since = {}
    for row in rows:
        train = (row["account_key"], *_path(row["subject"]))
        said.extend(_beside_peers(row, by_train[train]))
        if train not in trains:
            continue
        i = trains[train]
        said.extend(_beside_own(row, *(float(column[i]) for column in weeks)))
        at = cells["at_utc"].iloc[first[i] : first[i] + lengths[i]].reset_index(drop=True)
        said.extend(_change(row, found, i, at, zone))
        if found.before[i] and found.p[i] <= CLEAR and found.rate_after[i] > found.rate_before[i]:
            since[key(row)] = at[int(found.before[i])].to_pydatetime()
    return said, since


def _path(subject: str) -> tuple[str, str]:
    return ("", "panel_test") if subject == "panel" else (subject.removeprefix("path="), "test")


def _beside_peers(row: Mapping[str, Any], odd: Mapping[str, Any]) -> list[Said]:
    k, n, peers, n_peers = odd["k"], odd["n"], odd["peers"], odd["n_peers"]
    crowd = f"{peers} ({n_peers:,})" if n_peers >= 200 else peers
    return [
        Said(
            *key(row), 1, "miss_rate", k / n, odd["low"], odd["high"],
            f"{k} of {n} missed is {share(k / n)}; with 95 % confidence the rate lies between {share(odd['low'])} and"
            f" {share(odd['high'])} (exact limits)",
        ),
        Said(
            *key(row), 2, "shrunken_rate", odd["shrunken_rate"], odd["shrunken_low"], odd["shrunken_high"],
            f"weighed against its peers, {crowd}: a rate of {share(odd['shrunken_rate'])} is to be expected of it"
            f" ({share(odd['shrunken_low'])} to {share(odd['shrunken_high'])}); broken with probability"
            f" {odd['p_broken']:.3f}",
        ),
        Said(
            *key(row), 3, "q_value", odd["q_value"], None, None,
            f"sound peers miss {share(odd['healthy_rate'])}: so many by chance has p {chance(odd['p_value'])}, q"
            f" {chance(odd['q_value'])} over all paths judged (false discovery rate)",
        ),
    ]  # fmt: skip


def _own_weeks(cells: pd.DataFrame, numbers: np.ndarray, n: int) -> tuple[np.ndarray, ...]:
    """Missed and due in the window and before it, and the exact chance of so many in the window given both."""
    now = cells["this_week"].to_numpy() == 1
    missed = cells["missed"].to_numpy().astype(np.float64)
    k1, k0 = (np.bincount(numbers[part], missed[part], n) for part in (now, ~now))
    n1, n0 = (np.bincount(numbers[part], minlength=n).astype(np.float64) for part in (now, ~now))
    return k1, n1, k0, n0, hypergeometric_tail(k1, k1 + k0, n1, n1 + n0)


def _beside_own(row: Mapping[str, Any], k1: float, n1: float, k0: float, n0: float, p: float) -> list[Said]:
    if not n1 or not n0:
        return []
    words = f"this week {k1:.0f} of {n1:.0f}, in its own four weeks before {k0:.0f} of {n0:.0f}: "
    words += f"worse, by chance {chance(p)}" if p <= 0.05 else f"no clear change (chance {chance(p)})"
    return [Said(*key(row), 4, "own_weeks", p, None, None, f"{words} (exact conditional test)")]


def _change(row: Mapping[str, Any], found: Changes, i: int, at: pd.Series, zone: ZoneInfo) -> list[Said]:
    cut = int(found.before[i])
    if not cut:
        return []
    rates = f"{share(found.rate_before[i])} missed before, {share(found.rate_after[i])} after"
    if found.p[i] > CLEAR:
        words = f"no clear beginning in these weeks (largest step: {rates}; chance {chance(found.p[i])})"
        return [Said(*key(row), 5, "change_point", float(found.p[i]), None, None, words)]
    early, late = (moment(at[int(place[i])], zone) for place in (found.earliest, found.latest))
    kind = "began" if found.rate_after[i] > found.rate_before[i] else "became rarer"
    words = f"{kind} about {moment(at[cut], zone)}, between {early} and {late}: {rates}; chance {chance(found.p[i])}"
    return [Said(*key(row), 5, "change_point", float(found.p[i]), None, None, words)]
