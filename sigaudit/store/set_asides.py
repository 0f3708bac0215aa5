"""Findings that somebody has set aside until a day: kept in the catalog, weighed against each run anew.

Set aside is not gone: it is counted, named with its end and its reason, and comes back when its day is over or when
the finding is worse than it was. It holds for the week in which it was made and later ones, never for earlier ones.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Protocol
from zoneinfo import ZoneInfo

import pyarrow as pa

from sigaudit.store.opening import Store

__all__ = ["Decided", "Mark", "SetAside", "add", "decided", "held", "lift", "marks"]

_TABLE = """
create table if not exists set_asides (
    number integer primary key, finding_id text not null, account_key text not null, check_id text not null,
    subject text not null, week text not null, severity text not null, measured real, unit text not null,
    until text not null, reason text not null, by_name text not null, made_on text not null,
    lifted_on text not null default '', lifted_by text not null default ''
)
"""
_SEVERITIES = ("critical", "major", "minor", "note")
_LIFE = ("fire", "medical", "holdup", "combined")
# Ages grow by themselves; only other measures can get worse.
_AGES = ("h", "d", "days", "hours")
_MUCH_WORSE = 2.0  # house: twice what it was when it was set aside


@dataclass(frozen=True)
class SetAside:
    """One decision. until: the last day on which it holds; severity and measured: of the finding at that time."""

    number: int
    finding_id: str
    account_key: str
    check_id: str
    subject: str
    week: str
    severity: str
    measured: float | None
    unit: str
    until: date
    reason: str
    by_name: str
    made_on: date
    lifted_on: date | None = None
    lifted_by: str = ""


@dataclass(frozen=True)
class Mark:
    """What a set-aside means for one finding of a run. state: 'in force', 'expired' or 'worse'.

    quiet: it may leave the list of what is to be done. Critical and major findings of life safety never do.
    """

    state: str
    until: date
    by_name: str
    reason: str
    quiet: bool

    @property
    def text(self) -> str:
        """One line for a table."""
        told = f"{self.until.isoformat()} by {self.by_name}: {self.reason}"
        return {
            "in force": f"set aside until {told}",
            "expired": f"was set aside until {told}",
            "worse": f"worse than when it was set aside until {told}",
        }[self.state]


def add(store: Store, one: SetAside) -> int:
    """Keeps a decision in place of an earlier one on the same finding; its number. Raises StoreBusy."""
    number = 0

    def change(con: sqlite3.Connection) -> None:
        nonlocal number
        con.execute(_TABLE)
        con.execute(
            "update set_asides set lifted_on = ?, lifted_by = ? where finding_id = ? and lifted_on = ''",
            (one.made_on.isoformat(), one.by_name, one.finding_id),
        )
        number = int(
            con.execute(
                "insert into set_asides (finding_id, account_key, check_id, subject, week, severity, measured, unit,"
                " until, reason, by_name, made_on) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    one.finding_id, one.account_key, one.check_id, one.subject, one.week, one.severity, one.measured,
                    one.unit, one.until.isoformat(), one.reason, one.by_name, one.made_on.isoformat(),
                ),
            ).lastrowid
            or 0
        )  # fmt: skip

    with store.writing("setting a finding aside", wait_s=10):
        store.commit(catalog_changes=change)
    return number


def lift(store: Store, number: int, by_name: str, on: date) -> None:
    """Ends a decision before its day. Raises StoreBusy."""

    def change(con: sqlite3.Connection) -> None:
        con.execute(
            "update set_asides set lifted_on = ?, lifted_by = ? where number = ? and lifted_on = ''",
            (on.isoformat(), by_name, number),
        )

    with store.writing("ending a set-aside", wait_s=10):
        store.commit(catalog_changes=change)


def held(store: Store) -> list[SetAside]:
    """Every decision ever made, in the order in which it was made."""
    with store.catalog.connection() as con:
        known = con.execute("select 1 from sqlite_master where name = 'set_asides'").fetchone()
        rows = con.execute("select * from set_asides order by number").fetchall() if known else []
    return [
        SetAside(
            row["number"], row["finding_id"], row["account_key"], row["check_id"], row["subject"], row["week"],
            row["severity"], row["measured"], row["unit"], date.fromisoformat(row["until"]), row["reason"],
            row["by_name"], date.fromisoformat(row["made_on"]),
            date.fromisoformat(row["lifted_on"]) if row["lifted_on"] else None, row["lifted_by"],
        )
        for row in rows
    ]  # fmt: skip


def marks(
    decisions: Iterable[SetAside], findings: Iterable[Mapping[str, Any]], label: str, last_day: date
) -> dict[str, Mark]:
    """Finding id -> mark, for the findings of a run that were set aside.

    label: the week of the run; last_day: the local day that its ``as_of`` lies in (the day that ends there at
    midnight). A lifted decision says nothing; one made in a later week does not hold yet.
    """
    standing = {one.finding_id: one for one in decisions if one.lifted_on is None and one.week <= label}
    found: dict[str, Mark] = {}
    for finding in findings:
        one = standing.get(finding["finding_id"])
        if one is not None:
            state = _state(one, finding, last_day)
            grave = finding["severity"] in _SEVERITIES[:2] and (finding["system_type"] or "fire") in _LIFE
            quiet = state == "in force" and not grave
            found[finding["finding_id"]] = Mark(state, one.until, one.by_name, one.reason, quiet)
    return found


class Judged(Protocol):
    """A run, or what stands for one."""

    @property
    def meta(self) -> dict[str, Any]: ...

    def has(self, name: str) -> bool: ...

    def table(self, name: str) -> pa.Table: ...


@dataclass(frozen=True)
class Decided:
    """A run whose findings say what was decided about them: columns set_aside (text, '' for nothing), its state and
    quiet (it may leave the list of what is to be done)."""

    run: Judged
    marks: Mapping[str, Mark]

    @property
    def meta(self) -> dict[str, Any]:
        return self.run.meta

    def has(self, name: str) -> bool:
        return self.run.has(name)

    def table(self, name: str) -> pa.Table:
        found = self.run.table(name)
        if name != "findings":
            return found
        marked = [self.marks.get(identity) for identity in found["finding_id"].to_pylist()]
        columns: dict[str, pa.Array] = {
            "set_aside": pa.array([one.text if one else "" for one in marked], pa.string()),
            "set_aside_state": pa.array([one.state if one else "" for one in marked], pa.string()),
            "quiet": pa.array([bool(one and one.quiet) for one in marked], pa.bool_()),
        }
        for column, values in columns.items():
            found = found.append_column(column, values)
        return found


def decided(store: Store, run: Judged) -> Decided:
    """The run with what stands decided about its findings."""
    as_of = datetime.fromisoformat(run.meta["as_of_utc"]).replace(tzinfo=UTC)
    # The week ends at midnight: the day that it still speaks for is the one before.
    last_day = (as_of.astimezone(ZoneInfo(run.meta["timezone"])) - timedelta(seconds=1)).date()
    found = run.table("findings").select(["finding_id", "severity", "system_type", "measured", "unit"]).to_pylist()
    return Decided(run, marks(held(store), found, str(run.meta["label"]), last_day))


def _state(one: SetAside, finding: Mapping[str, Any], last_day: date) -> str:
    if _SEVERITIES.index(finding["severity"]) < _SEVERITIES.index(one.severity):
        return "worse"
    now, then = finding["measured"], one.measured
    comparable = one.unit == finding["unit"] and one.unit not in _AGES
    if comparable and now is not None and then is not None and 0 < then * _MUCH_WORSE < now:
        return "worse"
    return "in force" if last_day <= one.until else "expired"
