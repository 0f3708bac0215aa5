"""CSV and JSON of a run: fixed columns, guarded cells, documents that other programs read back."""

from __future__ import annotations

import csv
import hashlib
import json
from datetime import date, datetime
from pathlib import Path

import pandas as pd
import pytest
from made_run import small
from run_tables import FORMULA, FROM, UNTIL

from sigaudit.reporting import files, weekly


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("report")
    weekly.write(small(), made, station="Invented station")
    return made


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# First characters that spreadsheets may take for a formula: OWASP's page on CSV injection lists
# = + - @ TAB CR and warns of full-width forms (from memory).
@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-2+3", "@sum", "\t=1", "\r=1", "\n=1", " =1", "\ufeff=1", "\u00a0@x", "＝1", "＋1", "－1", "＠x"],
)
def test_a_cell_that_a_spreadsheet_might_run_is_guarded(text: str) -> None:
    assert files.cell(text) == "'" + text


@pytest.mark.parametrize("text", ["", "0042", "E130", "a=b", "A-12", "'=1", "Straße 5"])
def test_other_text_is_left_as_it_is(text: str) -> None:
    assert files.cell(text) == text


def test_numbers_and_instants_are_never_guarded() -> None:
    assert files.cell(-2.5) == "-2.5"
    assert files.cell(-3) == "-3"
    assert files.cell(datetime(2026, 10, 25, 0, 30)) == "2026-10-25T00:30:00Z"
    assert files.cell(date(2026, 10, 25)) == "2026-10-25"
    assert files.cell(None) == "" and files.cell(True) == "yes"


def test_single_misses_stand_in_the_document_for_programs(folder: Path) -> None:
    document = json.loads((folder / "findings.json").read_text(encoding="utf-8"))
    told = [(row["account"], row["path"], row["k"], row["n"]) for row in document["first_misses"]]
    assert told == [("1003", "radio", 2, 7), ("201", "phone", 1, 7), ("202", "", 1, 7)]
    assert {row["last_missed_utc"][-1] for row in document["first_misses"]} == {"Z"}
    assert next(row["value"] for row in document["figures"] if row["name"] == "single_misses") == 4


def test_findings_csv_begins_with_the_fixed_columns(folder: Path) -> None:
    # The column list as users are told it; kept here apart from the code on purpose.
    fixed = (
        "week, account, site, dealer, installer, check, severity, confidence, action, status, since, until, measured, "
        "limit, unit, evidence_count, excused_count, cause, cause_probability, next_step, finding_id, subject, "
        "receiver_group"
    )
    with (folder / "findings.csv").open(encoding="utf-8", newline="") as file:
        head = next(csv.reader(file))
    assert ", ".join(head).startswith(fixed)
    assert len(set(head)) == len(head) > fixed.count(",") + 1


def test_unprotected_csv_has_exactly_its_columns(folder: Path) -> None:
    found = read(folder / "unprotected.csv")
    told = "account, site, system_type, since, hours, reason, told_authority_at, told_owner_at"
    assert ", ".join(found[0]) == told
    assert found[0]["account"] == "1001" and found[0]["told_owner_at"] == ""
    assert found[1]["site"] == "'-2+3"
    # The marks of cautions C09 and C10; told_* stay empty for the desk.
    assert found[0]["reason"] == "silent, no incident explains it; out over 8 h"
    assert found[1]["reason"] == "inside the outage of receiver 2; out over 4 h in 24 h"


def test_leading_zeros_and_formulas_survive_a_csv_reader(folder: Path) -> None:
    table = pd.read_csv(folder / "findings.csv", dtype=str, keep_default_na=False)
    assert "00../x" in set(table["account"])
    assert "'" + FORMULA in set(table["dealer"])
    assert len(table) == 8
    since = pd.to_datetime(table["since"][table["since"] != ""])
    assert since.dt.tz is not None and since.min() == pd.Timestamp("2026-10-16T22:00:00Z")


def test_findings_json_holds_what_findings_csv_holds(folder: Path) -> None:
    document = json.loads((folder / "findings.json").read_text(encoding="utf-8"))
    assert (document["format"], document["version"]) == ("sigaudit.findings", 1)
    ids = [row["finding_id"] for row in read(folder / "findings.csv")]
    assert [row["finding_id"] for row in document["findings"]] == ids
    assert document["resolved"][0]["last_week"] == "2026-W42"
    # In JSON nothing is guarded: a program reads it, not a spreadsheet.
    assert FORMULA in {row["dealer"] for row in document["findings"]}
    assert document["run"]["from_utc"] == FROM.isoformat() + "Z"


def test_run_json_names_every_file_with_its_hash(folder: Path) -> None:
    document = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()} - {"run.json"}
    assert set(document["files"]) == there
    for name, told in document["files"].items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == told
    assert document["as_of_utc"] == UNTIL.isoformat() + "Z"
    assert document["sources"][0]["sha256"] == hashlib.sha256(b"night").hexdigest()


def test_text_files_have_plain_line_ends(folder: Path) -> None:
    for path in folder.rglob("*"):
        if path.suffix in {".csv", ".json", ".html", ".css"}:
            assert b"\r\n" not in path.read_bytes(), path
