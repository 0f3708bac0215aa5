"""A condition that stands, beside how long such conditions last at this station."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from sigaudit.judging.desk import Desk
from sigaudit.judging.survival import Curve, kaplan_meier, log_rank
from sigaudit.judging.telling import chance, hours, share
from sigaudit.judging.weighed import Answer, Findings, Said, key, texts
from sigaudit.model import subject_parts
from sigaudit.store.shipped import query

CHECKS = (
    "ac_power_out_standing", "battery_low_standing", "bypass_standing", "capture_supervision_trouble",
    "line_cut_standing", "supervisory_standing", "trouble_standing", "wireless_sensor_trouble",
)  # fmt: skip
# Fewer conditions than this say nothing of how long they last (house).
LEAST = 10
LEAST_OWN = 5


def weigh(desk: Desk, findings: Findings, zone: ZoneInfo) -> Answer:
    """Median and share of conditions as long, of each finding of a standing condition; no date is changed."""
    rows = [(row, family) for check in CHECKS for row in findings.get(check, []) if (family := _family(row))]
    if not rows:
        return [], {}
    desk.put("told_families", texts([(family,) for _, family in rows], "family"))
    lasting = desk.run(query("report/lasting")).to_pandas()
    crowds = {str(family): crowd for family, crowd in lasting.groupby("family")}
    curves = {family: _curve(crowd) for family, crowd in crowds.items() if len(crowd) >= LEAST}
    said: list[Said] = []
    for row, family in rows:
        if family in curves:
            said.append(_beside_station(row, family, curves[family], len(crowds[family])))
            said.extend(_beside_own(row, crowds[family]))
    return said, {}


def _family(row: Mapping[str, Any]) -> str:
    parts = subject_parts(row["subject"])
    return str(parts.get("code", "")) if row["unit"] == "h" else ""


def _curve(crowd: pd.DataFrame) -> Curve:
    return kaplan_meier(crowd["hours"].to_numpy(), crowd["ended"].to_numpy() == 1)


def _beside_station(row: Mapping[str, Any], family: str, curve: Curve, n: int) -> Said:
    age = float(row["measured"])
    left = curve.after(age)
    low, high = curve.limits_after(age)
    half = (
        "fewer than half are over yet" if isnan(curve.median) else f"half are over within {hours(curve.median)}"
    )  # fmt: skip
    words = f"of {n:,} conditions of code {family} at sites that send restores {half}; "
    words += f"{share(left)} last longer than the {hours(age)} of this one"
    if 0 < left < 1:
        words += f" ({share(low)} to {share(high)})"
    return Said(*key(row), 1, "lasting", curve.median, low, high, f"{words} (open ones counted, Kaplan-Meier)")


def _beside_own(row: Mapping[str, Any], crowd: pd.DataFrame) -> list[Said]:
    """The site's own past conditions of the family, where there are enough, beside everybody else's."""
    own = (crowd["account_key"] == row["account_key"]).to_numpy()
    if own.sum() < LEAST_OWN or (~own).sum() < LEAST:
        return []
    curve = _curve(crowd[own])
    _, p = log_rank(crowd["hours"].to_numpy(), crowd["ended"].to_numpy() == 1, own)
    half = "fewer than half over yet" if isnan(curve.median) else f"half over within {hours(curve.median)}"
    unlike = "unlike" if p <= 0.05 else "much like"
    words = f"its own {own.sum()}: {half}, {unlike} the other sites' (log-rank test, chance {chance(p)})"
    return [Said(*key(row), 2, "own_lasting", curve.median, None, None, words)]
