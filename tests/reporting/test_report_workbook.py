"""revisit.xlsx as another library (openpyxl) reads it."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from made_run import small
from run_tables import FORMULA, SCRIPT, UNTIL

from sigaudit.reporting import overview, workbook
from sigaudit.reporting.page import Clock


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("book") / "revisit.xlsx")


def write(path: Path) -> Path:
    run = small()
    return workbook.write(run, path, overview.findings_in_order(run), Clock("Europe/Vienna"))


def test_one_row_per_site_most_needed_first(path: Path) -> None:
    sheet = openpyxl.load_workbook(path)["revisit"]
    head = [cell.value for cell in sheet[1]]
    table = [dict(zip(head, (cell.value for cell in row), strict=True)) for row in sheet.iter_rows(min_row=2)]
    sites = [row["site"] for row in table]
    assert len(sites) == len(set(sites)) == 7
    assert sites[:2] == ["Invented site 1", "-2+3"]
    assert table[0]["no proven path"] == "silent, no incident explains it"
    assert table[0]["by remote"] == "Ask for a manual test over the radio path first."
    assert table[0]["on site"].startswith("Look first for primary path dead.\n")
    assert table[0]["at the desk"] == "Look first for site out of service.\nLook first for roster wrong."
    assert table[0]["probable causes"].splitlines() == [
        "primary path dead or site out of service (likely, 70%)", "roster wrong (possible, 30%)",
    ]  # fmt: skip
    assert table[0]["bring"] == "part for primary path dead"
    assert table[0]["since (Europe/Vienna)"] == "2026-10-17 00:00"


def test_no_cell_is_a_formula_or_link(path: Path) -> None:
    book = openpyxl.load_workbook(path)
    texts = []
    for sheet in book:
        assert not sheet._hyperlinks
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type in ("s", "n", "inlineStr"), cell.coordinate
                if isinstance(cell.value, str):
                    texts.append(cell.value)
                    assert cell.quotePrefix == cell.value.lstrip().startswith(("=", "+", "-", "@")), cell.value
    assert FORMULA in texts and SCRIPT in texts and "+49 call the owner" in texts


def test_sheets_are_ready_to_work_with(path: Path) -> None:
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["revisit", "findings", "visits", "words", "about"]
    for name, rows in (("revisit", 8), ("findings", 9)):
        sheet = book[name]
        assert sheet.max_row == rows
        assert sheet.freeze_panes == "C2"
        assert sheet.auto_filter.ref is not None and sheet.auto_filter.ref.startswith("A1:")
        assert sheet.print_title_rows == "$1:$1"


def test_the_file_carries_the_audits_date_not_the_moment_of_writing(path: Path, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(path)
    assert book.properties.created == UNTIL == datetime(2026, 10, 25, 23)
    assert write(tmp_path / "again.xlsx").read_bytes() == path.read_bytes()


def test_numbers_are_numbers(path: Path) -> None:
    sheet = openpyxl.load_workbook(path)["findings"]
    head = [cell.value for cell in sheet[1]]
    first = dict(zip(head, (cell.value for cell in sheet[2]), strict=True))
    assert (first["measured"], first["limit"], first["weeks"]) == (62.5, 24.5, 1)
