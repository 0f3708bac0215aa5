"""The daily list: one local day, and only what cannot wait. What that is says DESIGN of the tool, no standard."""

from __future__ import annotations

import csv
import json
import shutil
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pyarrow as pa
import pytest

from sigaudit.errors import UsageProblem
from sigaudit.judging import urgent, windows
from sigaudit.judging.cards import read_all
from sigaudit.store import shipped
from tests.demo_station import DEMO, DemoStation, called, sheet

ZONE = ZoneInfo("America/New_York")
FIRST, LAST = datetime(2026, 10, 12), datetime(2026, 11, 23, 5)
CARDS = read_all(shipped.queries() / "checks")
WEEK_OF = {row["account"]: row["week"] for row in sheet(DEMO / "truth.csv")}
LIFE = ("fire", "combined", "medical", "holdup", "")


def test_a_day_is_local_and_may_have_25_hours() -> None:
    day = windows.day("2026-11-01", ZONE, FIRST, LAST)  # clocks go back
    assert (day.from_utc, day.until_utc) == (datetime(2026, 11, 1, 4), datetime(2026, 11, 2, 5))
    assert day.as_of_utc == day.until_utc


def test_a_day_that_is_not_over_speaks_up_to_the_last_signal() -> None:
    day = windows.day("2026-11-17", ZONE, FIRST, datetime(2026, 11, 17, 12, 30, 20))
    assert day.as_of_utc == datetime(2026, 11, 17, 12, 31)


@pytest.mark.parametrize(
    ("label", "said"), [("2026-W47", "is no day"), ("yesterday", "is no day"), ("2026-12-01", "the log held runs")]
)
def test_a_day_that_is_none_or_not_held(label: str, said: str) -> None:
    with pytest.raises(UsageProblem, match=said):
        windows.day(label, ZONE, FIRST, LAST)


def test_the_last_whole_day() -> None:
    assert windows.last_whole_day(ZONE, datetime(2026, 11, 23, 4, 30)) == "2026-11-22"
    assert windows.last_whole_day(ZONE, datetime(2026, 11, 23, 3, 30)) == "2026-11-21"


def test_what_waits_and_what_does_not() -> None:
    said = [
        ("gone_silent", "a", 0), ("gone_silent", "b", 0), ("gone_silent", "c", 0), ("account_not_on_roster", "d", 1),
        ("account_not_on_roster", "e", 0), ("paths_fail_together", "b", 0), ("line_cut_flapping", "a", 1),
    ]  # fmt: skip
    rows = pa.table(
        {
            "check_id": [row[0] for row in said], "account_key": [row[1] for row in said],
            "verdict": ["finding"] * len(said), "aggravated": [row[2] for row in said],
        }
    )  # fmt: skip
    accounts = {"a": {"ranks_as": "fire"}, "b": {"ranks_as": "burglary"}, "c": {"ranks_as": ""}}
    kept = urgent.only(rows, CARDS, accounts).to_pylist()
    assert [(row["check_id"], row["account_key"]) for row in kept] == [
        ("gone_silent", "a"), ("gone_silent", "c"), ("account_not_on_roster", "d"), ("paths_fail_together", "b"),
    ]  # fmt: skip


def test_the_day_of_the_demo(demo_station: DemoStation, tmp_path: Path) -> None:
    folder = tmp_path / "station"
    shutil.copytree(demo_station.folder, folder)
    said = called("audit", "--day", "2026-11-17", "--json", "--workspace", str(folder))
    assert said.code == 0, said.err
    assert json.loads(said.out)["week"] == "2026-11-17"
    reports = folder / "reports" / "audit-2026-11-17"
    with (reports / "findings.csv").open(encoding="utf-8", newline="") as lines:
        found = list(csv.DictReader(lines))
    assert found
    assert {CARDS[row["check"]].daily for row in found} <= {"always", "life", "aggravated"}
    types = {row["account"]: row["system_type"] for row in sheet(DEMO / "workspace" / "roster" / "accounts.csv")}
    assert all(types[row["account"]] in LIFE for row in found if CARDS[row["check"]].daily == "life")
    # The audit of the week before knows them, or they are new.
    assert {row["status"] for row in found} <= {"new", "continuing"}
    assert "continuing" in {row["status"] for row in found}
    page = (reports / "index.html").read_text(encoding="utf-8")
    assert "Daily list" in page and "does not replace the station" in page
    # What ranks as life safety without a stated type depends on what was heard, so only stated types are asked for.
    silent = {row["account"] for row in sheet(DEMO / "truth.csv") if row["fault"] == "gone_silent"}
    early = {account for account in silent if WEEK_OF[account] < "2026-W47" and types[account] in LIFE[:4]}
    assert early <= {row["account"] for row in found}


def test_week_and_day_are_two_audits(demo_station: DemoStation) -> None:
    said = called("audit", "--day", "2026-11-17", "--week", "2026-W47", "--workspace", str(demo_station.folder))
    assert said.code == 2
    assert "two different audits" in said.err
