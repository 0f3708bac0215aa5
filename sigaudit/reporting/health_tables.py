"""What a customer is told of a condition or a finding, by the shipped tables: words by key, never a code."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from sigaudit.reporting.page import Row
from sigaudit.store import shipped

# Where a code is not in the table, its group tells at least which part of the report it belongs to.
_BY_GROUP = {
    "power": ("power", "supply_fault"), "path": ("lines", "connection"), "supervision": ("care", "device_missing"),
    "tamper": ("care", "tamper"), "trouble": ("care", "other"), "supervisory": ("state", "supervisory"),
    "bypass": ("state", "bypass"),
}  # fmt: skip


@dataclass(frozen=True)
class Condition:
    """part of the report (power, lines, care, state) and the key of its word."""

    part: str
    word: str


def condition(family: str, group: str) -> Condition:
    """What a family of codes is called in a health report."""
    return _conditions().get(family) or Condition(*_BY_GROUP.get(group, ("care", "other")))


@lru_cache(maxsize=1)
def _conditions() -> Mapping[str, Condition]:
    return {row["family"]: Condition(row["part"], row["word"]) for row in _sheet("health_conditions.csv")}


@lru_cache(maxsize=1)
def _advice() -> Mapping[str, tuple[str, str]]:
    return {row["check"]: (row["advice"], row["need"]) for row in _sheet("health_advice.csv")}


def advice(findings: Sequence[Row]) -> tuple[list[tuple[str, str]], list[str]]:
    """(advice, path) and needs of the findings in their order, each once; desk matters of the station give none.

    A check that the table does not know gives the advice that a point was noted: it is never passed over.
    """
    given: list[tuple[str, str]] = []
    needs: list[str] = []
    for row in findings:
        key, need = _advice().get(row["check"], ("noted", ""))
        name, _, path = str(row["subject"]).partition("=")
        entry = (key, path if key == "way" and name == "path" else "")
        if key == "way" and not entry[1]:
            entry = ("any_way", "")
        if key and entry not in given:
            given.append(entry)
        if key and need and need not in needs:
            needs.append(need)
    if any(key == "way" for key, _ in given):
        given = [entry for entry in given if entry[0] != "any_way"]
    if any(key in ("silent", "first_signal") for key, _ in given):
        # No signal at all says more than each way by itself.
        given = [entry for entry in given if entry[0] not in ("way", "any_way", "tests", "supervision", "panel")]
    return given, needs


def _sheet(name: str) -> list[dict[str, str]]:
    with (shipped.data() / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
