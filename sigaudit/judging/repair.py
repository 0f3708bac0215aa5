"""What must be seen at the station before a repaired site is left: one table for all accounts with a finding."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.judging import signal_plan

__all__ = ["SCHEMA", "signals_to_see"]

_TEXT = pa.string()
SCHEMA = pa.schema(
    [("page_no", pa.int64()), ("account_key", _TEXT), ("step_no", pa.int64()), ("kind", _TEXT), ("do", _TEXT),
     ("event", _TEXT), ("restore", _TEXT), ("partition", _TEXT), ("zone", _TEXT), ("label", _TEXT), ("path", _TEXT),
     ("receiver", _TEXT), ("line", _TEXT), ("origin", _TEXT), ("within_s", pa.float64()), ("watch", _TEXT)]
)  # fmt: skip


def signals_to_see(findings: pa.Table, roster: Mapping[str, pa.Table]) -> pa.Table:
    """Steps of every rostered account that has a finding, in the order in which they are done.

    findings: page_no, account_key, check, subject; roster: its tables in force. Accounts off the roster have no plan.
    """
    spoken: dict[str, list[tuple[str, str]]] = defaultdict(list)
    pages: dict[str, int] = {}
    for row in findings.select(["page_no", "account_key", "check", "subject"]).to_pylist():
        spoken[row["account_key"]].append((row["check"], row["subject"]))
        pages[row["account_key"]] = row["page_no"]
    accounts = {row["account_key"]: row for row in _of(roster["accounts"], spoken)}
    paths, zones = _grouped(roster["paths"], accounts), _grouped(roster["zones"], accounts)
    rows: list[dict[str, Any]] = []
    for key in sorted(accounts):
        steps = signal_plan.plan(accounts[key], paths[key], zones[key])
        for number, step in enumerate(signal_plan.needed(steps, spoken[key]), start=1):
            rows.append({"page_no": pages[key], "account_key": key, "step_no": number, **asdict(step)})
    return pa.Table.from_pylist(rows, schema=SCHEMA)


def _of(table: pa.Table, keys: Mapping[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = table.filter(pc.is_in(table["account_key"], pa.array(list(keys), _TEXT))).to_pylist()
    return found


def _grouped(table: pa.Table, accounts: Mapping[str, Any]) -> dict[str, list[dict[str, Any]]]:
    grouped: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in _of(table, accounts):
        grouped[row["account_key"]].append(row)
    return grouped
