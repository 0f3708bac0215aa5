"""The guide's table of faults: complete, and every check, incident, command and cause in it is real.

137 is the number of rows in the catalogue of faults the checks were written from. That a named check would fire
on what the fault leaves in a log is shown by the cases under ``tests/checks``; here only the names are held.
"""

from __future__ import annotations

import csv
import re
import tomllib
from pathlib import Path

import pytest

from sigaudit.store import shipped
from tests.cli.test_help import ALL

ROOT = Path(__file__).resolve().parents[2]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = GUIDE[GUIDE.index("## What 137 faults leave in a log") : GUIDE.index("## Where the code differs")]
ROWS = [
    (fault, served, told)
    for fault, served, told in re.findall(r"^\| ([a-z][\w-]*) \| (.*?) \| (.*?) ?\|$", SECTION, re.MULTILINE)
    if fault != "fault"
]
CHECKS = {path.stem for path in (shipped.queries() / "checks").glob("*.toml")}
MODEL = tomllib.loads((shipped.queries() / "causes.toml").read_text(encoding="utf-8"))
FIRES = {cause["id"]: set(cause["fires"]) for cause in MODEL["cause"]}
with (shipped.data() / "causes.csv").open(encoding="utf-8", newline="") as _file:
    INCIDENTS = {row["cause"] for row in csv.DictReader(_file) if row["place"] == "away"}
COMMANDS = {" ".join(words) for words in ALL}
WITHOUT = {"no finding", "not served yet", "not shown"}
# Checks that no fault of the catalogue asks for: the roster's own gaps, and tests that only a technician made.
BEYOND = {"roster_incomplete", "tested_only_on_test"}
# A cause that the catalogue does not count as a fault: a system that was given up.
NO_FAULT = {"site_out_of_service"}


def named(text: str) -> list[str]:
    return re.findall(r"`([^`]+)`", text)


def test_every_fault_has_one_row() -> None:
    assert len(ROWS) == 137
    assert len({fault for fault, _, _ in ROWS}) == 137


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_names_in_a_row_are_real(row: tuple[str, str, str]) -> None:
    _, served, told = row
    if served in WITHOUT:
        assert len(told) > 10, "a reason"
        return
    by = named(served)
    assert by and ", ".join(f"`{name}`" for name in by) == served
    assert set(by) <= CHECKS | INCIDENTS | COMMANDS
    causes = [name for name in named(told.split(";")[0]) if name in FIRES]
    if set(by) & CHECKS:
        assert causes, "a check leads to a cause"
    for cause in causes:
        assert FIRES[cause] & set(by), f"{cause} makes none of these checks fire"


def test_every_cause_is_some_fault() -> None:
    causes = {name for _, _, told in ROWS for name in named(told.split(";")[0])}
    assert set(FIRES) - causes == NO_FAULT


def test_every_check_serves_some_fault() -> None:
    by = {name for _, served, _ in ROWS for name in named(served)}
    assert CHECKS - by == BEYOND
    assert INCIDENTS - by == set()
