"""Predicted against found, mended or not, sent again: counted by hand on three weeks made up here."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, cast
from zoneinfo import ZoneInfo

import pyarrow as pa
import pytest

from sigaudit.judging import findings
from sigaudit.judging.diagnose import SCHEMA
from sigaudit.judging.learning import Visit
from sigaudit.judging.visit_record import Record, record
from sigaudit.store.runs import Run

ZONE = ZoneInfo("America/New_York")
MONDAYS = (datetime(2026, 11, 2, 5), datetime(2026, 11, 9, 5), datetime(2026, 11, 16, 5))  # local midnights


@dataclass
class Week:
    """Stands in for a saved weekly run."""

    begin: datetime
    causes: list[dict[str, Any]] = field(default_factory=list)
    found: list[dict[str, Any]] = field(default_factory=list)

    @property
    def run_id(self) -> str:
        return str(self.begin)

    @property
    def meta(self) -> dict[str, Any]:
        end = self.begin + timedelta(days=7)
        return {"kind": "week", "from_utc": self.begin.isoformat(), "as_of_utc": end.isoformat()}

    def has(self, name: str) -> bool:
        return name == "cause_units"

    def table(self, name: str) -> pa.Table:
        rows, schema = (self.causes, SCHEMA) if name == "causes" else (self.found, findings.SCHEMA)
        return pa.Table.from_pylist([dict.fromkeys(schema.names) | row for row in rows], schema=schema)


def named(key: str, cause: str, confidence: str, pair: str = "") -> dict[str, Any]:
    shown = confidence != "unclear"
    return {"account_key": key, "rank": 1, "cause": cause, "pair": pair, "confidence": confidence, "shown": shown}


def finding(key: str, identity: str, severity: str = "major") -> dict[str, Any]:
    return {"account_key": key, "finding_id": identity, "severity": severity}


def told(visits: list[Visit], *weeks: Week) -> Record:
    return record(visits, cast("list[Run]", list(weeks)), ZONE)


def visit(key: str, day: date, found: str, fixed: str = "") -> Visit:
    return Visit(key, day, (found,), (fixed,) if fixed else ())


def test_what_was_said_against_what_was_found() -> None:
    first = Week(MONDAYS[0], [named("main/1", "a", "strong"), named("main/2", "b", "strong", pair="c"),
                              named("main/3", "a", "strong"), named("main/4", "a", "likely")])  # fmt: skip
    day = date(2026, 11, 10)
    found = told(
        [visit("main/1", day, "a"), visit("main/2", day, "c"), visit("main/3", day, "no_fault"),
         visit("main/4", day, "no_access"), visit("main/9", day, "a")],
        first,
    )  # fmt: skip
    # One of a pair found is right; nothing found is wrong; who did not get in says nothing; main/9 was never a case.
    (row,) = found.predicted
    assert (row["said"], row["visits"], row["right"]) == ("strong", 3, 2)
    # Clopper-Pearson of 2 of 3: 0.0943 to 0.9916 (scipy.stats.binomtest).
    assert (row["low"], row["high"]) == (pytest.approx(0.0943, abs=1e-4), pytest.approx(0.9916, abs=1e-4))


def test_the_audit_that_counts_is_the_last_before_the_visit() -> None:
    weeks = [Week(MONDAYS[0], [named("main/1", "b", "strong")]), Week(MONDAYS[1], [named("main/1", "a", "likely")])]
    (row,) = told([visit("main/1", date(2026, 11, 16), "a")], *weeks).predicted
    assert (row["said"], row["right"]) == ("likely", 1)
    # On the Sunday that the second week speaks for, only the first is done.
    (row,) = told([visit("main/1", date(2026, 11, 15), "a")], *weeks).predicted
    assert (row["said"], row["right"]) == ("strong", 0)


def test_mended_is_what_leaves_none_of_the_findings_of_before() -> None:
    before = Week(MONDAYS[0], found=[finding("main/1", "x"), finding("main/2", "y"), finding("main/3", "z", "note")])
    after = Week(MONDAYS[2], found=[finding("main/2", "y"), finding("main/1", "other")])
    day = date(2026, 11, 10)
    visits = [visit("main/1", day, "a", "yes"), visit("main/2", day, "a", "yes"), visit("main/3", day, "a", "yes"),
              visit("main/4", day, "a", "no")]  # fmt: skip
    found = told(visits, before, after)
    assert (found.resolved, found.mended) == (1, 2)
    assert (told(visits, before).resolved, told(visits, before).mended) == (0, 0)  # no audit after it yet


def test_repeat_visits_are_those_within_ninety_days() -> None:
    days = (date(2026, 1, 1), date(2026, 4, 1), date(2026, 7, 1))  # 90 and 91 days apart
    found = told([visit("main/1", day, "a") for day in days] + [visit("main/2", days[0], "a")])
    assert (found.again, found.visits) == (1, 4)
