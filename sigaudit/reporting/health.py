"""Health by customer as one plain page: days reported as expected, or why that is not known."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from sigaudit.reporting import overview
from sigaudit.reporting.files import write_text
from sigaudit.reporting.page import (
    SEVERITIES,
    Clock,
    Row,
    RunLike,
    cautions,
    counted,
    day_text,
    environment,
    instant,
    rank,
    read_what,
    rows,
)

_CAUTIONS = ("C01", "C02", "C16", "C17", "C20", "C23")


@dataclass(frozen=True)
class Days:
    """Local days of one account with something due: as expected, not as expected, excused only.

    ``whole``: days as expected are known; else only those with a missed test are.
    """

    expected: int
    missed: tuple[date, ...]
    excused: int
    whole: bool = True

    @property
    def judged(self) -> int:
        return self.expected + len(self.missed)

    @property
    def sentence(self) -> str:
        """What may be said of the account; never more than what was judged."""
        if not self.judged:
            if self.excused:
                days = counted(self.excused, "day")
                return f"Not judged: all that was due fell into an excused time ({days}). Not proven."
            return "Not judged: this run holds nothing that was due from this account."
        named = ", ".join(day_text(day) for day in self.missed[:4])
        named += f" and {len(self.missed) - 4} more" if len(self.missed) > 4 else ""
        if not self.whole:
            said = f"A test was missed on {counted(len(self.missed), 'day')}: {named}"
        else:
            said = f"Reported as expected on {self.expected} of {self.judged} days"
            said += f"; not on {named}" if self.missed else ""
        if self.excused:
            said += f"; {self.excused} more not judged (excused)"
        return said + "."


def write(run: RunLike, folder: Path) -> list[Path]:
    """Write ``health.html`` into ``folder``; gives its path. The same run gives the same bytes.

    A day counts as expected when every test due on it and not excused came in time; a day whose tests
    were all excused is not judged. Accounts without any due slot in the run are said to be not judged.
    """
    clock = Clock(run.meta["timezone"])
    begins = instant(run.meta["from_utc"]) or datetime(1970, 1, 1)
    # Accounts with a page have slots from before the window too; everybody is told of the same days.
    slots = [row for row in rows(run, "slots") if row["due_utc"] >= begins]
    # Where a run names only the tests that did not come, no day can be called as expected.
    whole = any(row["state"] == "received" for row in slots)
    days = days_by_account(slots, clock, whole=whole)
    findings: dict[str, list[Row]] = defaultdict(list)
    for row in overview.findings_in_order(run):
        if row["severity"] != "note":
            findings[row["account_key"]].append(row)
    bare = {row["account_key"]: row for row in rows(run, "unprotected")}
    customers: dict[str, list[Row]] = defaultdict(list)
    for row in sorted(rows(run, "accounts"), key=lambda r: (r["customer"], r["site"], r["account_key"])):
        if row["monitored"]:
            held = days.get(row["account_key"], Days(0, (), 0))
            entry = {
                **row,
                "days": held,
                "findings": findings[row["account_key"]],
                "bare": bare.get(row["account_key"]),
            }
            customers[row["customer"]].append(entry)
    ordered = sorted(customers.items(), key=lambda pair: (_need(pair[1]), pair[0] == "", pair[0]))
    everybody = [entry for _, entries in ordered for entry in entries]
    text = (
        environment()
        .get_template("health.html.j2")
        .render(
            **read_what(run, clock),
            station=run.meta["station"],
            clock=clock,
            customers=ordered,
            accounts=len(everybody),
            days_whole=whole,
            judged=sum(1 for entry in everybody if entry["days"].judged),
            as_expected=sum(1 for entry in everybody if entry["days"].judged and not entry["days"].missed),
            cautions=cautions(*_CAUTIONS),
        )
    )
    return [write_text(folder / "health.html", text)]


def days_by_account(slots: Sequence[Row], clock: Clock, *, whole: bool = True) -> dict[str, Days]:
    """Per account key: its local days with a slot due, by how they went (``whole``: see :class:`Days`)."""
    seen: dict[str, dict[date, set[str]]] = defaultdict(lambda: defaultdict(set))
    for row in slots:
        seen[row["account_key"]][clock.local(row["due_utc"]).date()].add(row["state"])
    made = {}
    for key, held in seen.items():
        missed = tuple(sorted(day for day, states in held.items() if "missed" in states))
        expected = sum(1 for states in held.values() if "received" in states and "missed" not in states)
        made[key] = Days(expected, missed, sum(1 for states in held.values() if states == {"excused"}), whole)
    return made


def _need(entries: Sequence[Row]) -> tuple[bool, int]:
    worst = min((rank(SEVERITIES, row["severity"]) for entry in entries for row in entry["findings"]), default=9)
    return (not any(entry["bare"] for entry in entries), worst)
