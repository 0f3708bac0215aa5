"""How many accounts would need a shorter interval if one rules edition applied to them.

A question for planning, not a judgement: editions are adopted place by place and mostly bind what is new,
and a dialer captured by another listed transmitter comes under the supervision of that transmitter's path,
not under the dialer's test. So only paths that the roster lists are compared, each by its own kind, and a
telephone line only where no path of the account is supervised.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa

from sigaudit.judging import intervals, measures
from sigaudit.judging.coverage import Coverage
from sigaudit.judging.desk import Desk, Window
from sigaudit.judging.silences import Series
from sigaudit.settings import Settings
from sigaudit.store import facts, rosters, shipped
from sigaudit.store.engine_duckdb import connect
from sigaudit.store.opening import Store

QUANTITIES = (("test", "test_s"), ("supervision", "supervision_s"))
# Tests come late by minutes without being longer apart for that (house).
_TOLERANCE = 1.05
CAVEATS = (
    "An edition binds where it is adopted, mostly for new systems: this says who would be affected if it applied.",
    "A dialer captured by another listed transmitter comes under the supervision of that path, not under the"
    " dialer's test: where a path of the account is supervised, its telephone line was not compared.",
    "The authority, the listing and the contract decide.",
)


@dataclass(frozen=True)
class PathRule:
    """One path and one figure of the edition; ``state`` shorter, kept, or unknown (nothing says how long now)."""

    account_key: str
    account: str
    site: str
    system_type: str
    path: str
    kind: str
    what: str
    now_s: float | None
    now_from: str
    would_s: float
    rule_id: str
    known: str
    state: str


def measure(store: Store, settings: Settings, edition: str, as_of: datetime) -> list[PathRule]:
    """Every monitored path that the edition has a figure for, in order of account.

    Facts must be up to date. Raises SettingsProblem for an unknown edition, UsageProblem without a roster.
    """
    intervals.rules_for(edition, "phone", 1, "fire", "test_s")  # an unknown edition is said before any work
    roster, _ = rosters.in_force(store, as_of)
    window = Window(as_of - timedelta(days=28), as_of, as_of)
    lines = sorted({(row.receiver, row.line) for row in store.catalog.source_lines()})
    nothing = Series(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))
    with connect(memory_limit=settings.memory_limit) as con:
        facts.cut(store, con, window.from_utc, as_of, window.from_utc)
        desk = Desk(con, window)
        measures.station_wide(desk, roster, {}, settings, Coverage([], [], {}, dict.fromkeys(lines, nothing)))
        return compare(desk.run(shipped.query("report/what_if")), edition)


def compare(paths: pa.Table, edition: str) -> list[PathRule]:
    """The same from rows of ``queries/report/what_if``."""
    found = []
    by_account: dict[str, list[dict[str, Any]]] = {}
    for row in paths.to_pylist():
        by_account.setdefault(row["account_key"], []).append(row)
    for rows in by_account.values():
        for row in _asked(rows):
            for what, quantity in QUANTITIES:
                rules = intervals.rules_for(edition, row["kind"], row["n_paths"], row["system_type"], quantity)
                if rules and not (what == "test" and row["kind"] == "phone" and row["is_captured"]):
                    found.append(_compared(row, what, quantity, min(rules, key=lambda r: r.seconds)))
    return found


def _asked(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """An account's paths as a rule looks at them: telephone lines that one dialer tests in turn are one."""
    captured = any(row["supervision_s"] is not None for row in rows)
    phones = [row for row in rows if row["kind"] == "phone"]
    asked = [{**row, "is_captured": captured} for row in rows if row["kind"] != "phone"]
    if phones:
        both = {**phones[0], "path": "+".join(row["path"] for row in phones), "is_captured": captured}
        for name in ("test_s", "usual_s"):
            known = [row[name] for row in phones if row[name]]
            both[name] = 1 / sum(1 / seconds for seconds in known) if known else None
        asked.append(both)
    return sorted(asked, key=lambda row: str(row["path"]))


def _compared(row: dict[str, Any], what: str, quantity: str, rule: intervals.Rule) -> PathRule:
    now, where = row[quantity], "roster"
    if now is None:
        now, where = (row["usual_s"], "log") if what == "test" and row["usual_s"] else (None, "")
    state = "unknown" if now is None else "shorter" if now > rule.seconds * _TOLERANCE else "kept"
    told = (row["account_key"], row["account"], row["site"], row["system_type"], row["path"], row["kind"])
    return PathRule(*told, what, now, where, float(rule.seconds), rule.rule_id, rule.known, state)


def table(found: Sequence[PathRule]) -> list[dict[str, Any]]:
    """Accounts by system type, path kind and what is limited; an account with several such paths counts once."""
    worst: dict[tuple[str, str, str, float], dict[str, str]] = {}
    for one in found:
        states = worst.setdefault((one.system_type, one.kind, one.what, one.would_s), {})
        order = ("kept", "unknown", "shorter")
        states[one.account_key] = max(states.get(one.account_key, "kept"), one.state, key=order.index)
    rows = []
    for (system, kind, what, seconds), states in sorted(worst.items()):
        n = Counter(states.values())
        rows.append(
            {"system_type": system, "path_kind": kind, "what": what, "edition_h": seconds / 3600,
             "accounts": len(states), "would_need_shorter": n["shorter"], "kept_already": n["kept"],
             "not_known": n["unknown"]}
        )  # fmt: skip
    return rows


def sentences(found: Sequence[PathRule], edition: str) -> list[str]:
    """The answer in one sentence, and what it does not say."""
    title = next((e.title for e in intervals.editions() if e.edition == edition), edition)
    shorter = {one.account_key for one in found if one.state == "shorter"}
    unknown = {one.account_key for one in found if one.state == "unknown"} - shorter
    asked = {one.account_key for one in found}
    said = [
        f"{len(shorter)} of {len(asked)} accounts with a path that {title} has a figure for would need a shorter"
        f" interval if it applied to them; of {len(unknown)} nothing says what they keep now."
    ]
    if any(one.known == "memory" for one in found if one.state == "shorter"):
        said.append("Some of its figures are known from memory only: look them up before acting.")
    return [*said, *CAVEATS]
