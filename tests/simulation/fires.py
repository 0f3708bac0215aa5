"""How often each check fires on a simulated station, as a table in Markdown.

``python -m tests.simulation.fires STATION TRUTH [WEEK]``: STATION is a workspace whose week is judged already, TRUTH
a table with the columns account, fault and week (a station of healthy sites alone: fault is ``healthy`` throughout),
WEEK the audit to read, such as 2026-W47; without it, the last one judged.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass
from pathlib import Path

from sigaudit.store import runs
from sigaudit.store.opening import open_store

SEVERITIES = ("critical", "major", "minor", "note")
HEADER = ["check", "accounts", *SEVERITIES, "planted", "found", "beside another fault", "on healthy accounts"]


@dataclass(frozen=True)
class Fires:
    """One check: on how many accounts it fires in all, by the severest finding, and on whom."""

    check: str
    accounts: int
    critical: int
    major: int
    minor: int
    note: int
    planted: int
    found: int
    beside: int
    healthy: int


def fires(
    findings: Iterable[Mapping[str, str]], truth: Sequence[Mapping[str, str]], checks: Iterable[str], week: str
) -> list[Fires]:
    """One row per check, in their order. ``findings`` have check, account and severity. An account counts once per
    check. ``planted``: accounts whose fault has the check's id and shows by ``week``. An account that the truth
    does not name counts as healthy."""
    severest: dict[str, dict[str, str]] = {check: {} for check in checks}
    for finding in findings:
        by_account = severest.setdefault(finding["check"], {})
        known = by_account.get(finding["account"], SEVERITIES[-1])
        by_account[finding["account"]] = min(known, finding["severity"], key=SEVERITIES.index)
    faults = {row["account"]: row["fault"] for row in truth}
    shown = {row["account"] for row in truth if row.get("week", "") <= week}
    rows = []
    for check, by_account in severest.items():
        planted = {account for account, fault in faults.items() if fault == check and account in shown}
        healthy = sum(faults.get(account, "healthy") == "healthy" for account in by_account)
        found = len(planted & set(by_account))
        own = sum(faults.get(account) == check for account in by_account)
        many = [sum(severity == wanted for severity in by_account.values()) for wanted in SEVERITIES]
        beside = len(by_account) - own - healthy
        rows.append(Fires(check, len(by_account), *many, len(planted), found, beside, healthy))
    return rows


def markdown(rows: Iterable[Fires]) -> str:
    """The table; a nought is a blank, so that the eye finds what is there."""
    lines = ["| " + " | ".join(HEADER) + " |", "| --- " + "| --: " * (len(HEADER) - 1) + "|"]
    for row in rows:
        check, *numbers = astuple(row)
        lines.append("| " + " | ".join([f"`{check}`", *(str(n or "") for n in numbers)]) + " |")
    return "\n".join(lines)


def main() -> None:
    if not 3 <= len(sys.argv) <= 4:
        sys.exit("usage: python -m tests.simulation.fires STATION TRUTH [WEEK]")
    store = open_store(Path(sys.argv[1]) / "store", create=False)
    judged = [label for label in runs.labels(store) if "-W" in label]
    week = sys.argv[3] if len(sys.argv) == 4 else max(judged, default="")
    run = runs.latest(store, week)
    if run is None:
        sys.exit(f"{week or 'no week'} was not judged; there are {judged}")
    with Path(sys.argv[2]).open(encoding="utf-8", newline="") as source:
        truth = list(csv.DictReader(source))
    checks = [check["id"] for check in run.meta["checks"]]
    print(markdown(fires(run.table("findings").to_pylist(), truth, checks, week)))


if __name__ == "__main__":
    main()
