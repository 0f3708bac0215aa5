"""The revisit list's sheets, tables and calendar file.

The calendar file is held to RFC 5545 sections 3.1 (lines of at most 75 octets, CRLF), 3.3.11 (escapes) and 3.6.1
(DTEND of an all-day entry is the day after), read here without the library that wrote it.
"""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_run import small
from run_tables import SCRIPT, UNTIL
from test_plain_pages import text_of

from sigaudit.reporting import calendar_file, revisit
from tests.demo_station import DemoStation, called

WEEK = "2026-W47"
FIRST_DAY = date(2026, 10, 26)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("revisit")
    revisit.write(small(), made, first_day=FIRST_DAY, per_day=2)
    return made


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def entries(path: Path) -> list[dict[str, str]]:
    """Properties of each VEVENT by name, unfolded by the rule of RFC 5545 section 3.1."""
    raw = path.read_bytes()
    assert b"\r\n" in raw and b"\n" not in raw.replace(b"\r\n", b"")
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
    lines = raw.replace(b"\r\n ", b"").replace(b"\r\n\t", b"").decode("utf-8").split("\r\n")
    found: list[dict[str, str]] = []
    for line in lines:
        if line == "BEGIN:VEVENT":
            found.append({})
        elif found and ":" in line:
            name, _, value = line.partition(":")
            found[-1].setdefault(name.partition(";")[0], value)
    return found


def test_each_site_has_a_sheet_that_fits_its_limit(folder: Path) -> None:
    rows = table(folder / "revisit.csv")
    sheets = [folder / row["sheet"] for row in rows]
    assert len(rows) == len(set(sheets)) == 6
    for row, sheet in zip(rows, sheets, strict=True):
        assert sheet.stat().st_size < 150_000
        text = text_of(sheet)
        assert row["site"] in text or row["accounts"].split()[0] in text
        assert "Does the panel release extinguishing agent" in text
        assert "no_fault" in text and "could_not_reproduce" in text


def test_a_sheet_says_what_to_send_and_what_to_see(folder: Path) -> None:
    text = text_of(folder / "sheets" / "0001.html")
    assert "Start a test. E601 radio 2 / 1 90 s" in " ".join(text.split())
    assert "E111 1 / 012" in text and "R111" in text
    assert SCRIPT.replace("\n", " ")[:20] in text  # a hostile label is shown, not run


def test_visits_are_planned_on_working_days_the_unprotected_first(folder: Path) -> None:
    rows = table(folder / "revisit.csv")
    planned = {row["order"]: row["planned_on"] for row in rows if row["planned_on"]}
    assert set(planned) == {row["order"] for row in rows if row["needs"] == "visit"}
    days = sorted(planned.values())
    assert days == ["2026-10-26", "2026-10-26", "2026-10-27", "2026-10-27"]
    bare = [row["planned_on"] for row in rows if row["planned_on"] and row["unprotected"]]
    assert max(bare) <= min(row["planned_on"] for row in rows if row["planned_on"] and not row["unprotected"])
    found = entries(folder / "visits.ics")
    assert sorted(entry["DTSTART"] for entry in found) == [day.replace("-", "") for day in days]
    for entry in found:
        assert int(entry["DTEND"]) - int(entry["DTSTART"]) == 1
        assert entry["DTSTAMP"] == f"{UNTIL:%Y%m%dT%H%M%SZ}"
    assert len({entry["UID"] for entry in found}) == 4


@given(st.text(min_size=1).filter(lambda t: not any("\ud800" <= c <= "\udfff" for c in t)))
def test_no_text_of_a_roster_can_break_out_of_its_entry(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    path = tmp_path_factory.mktemp("ics") / "visits.ics"
    calendar_file.write(path, [(FIRST_DAY, "key", f"Visit {name}\r\nATTENDEE:x", name, name)], UNTIL, "2026-W43")
    assert [set(entry) & {"ATTENDEE", "RRULE", "ATTACH"} for entry in entries(path)] == [set()]


def test_days_skip_the_weekend() -> None:
    friday = date(2026, 11, 27)
    assert calendar_file.days(friday, 2, 5) == [
        friday,
        friday,
        date(2026, 11, 30),
        date(2026, 11, 30),
        date(2026, 12, 1),
    ]
    assert calendar_file.days(date(2026, 11, 28), 1, 1) == [date(2026, 11, 30)]
    assert calendar_file.days(friday, 3, 0) == []


def test_the_sheet_of_visits_offers_the_words_that_the_roster_takes(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "revisit.xlsx")
    sheet, words = book["visits"], book["words"]
    rules = {str(rule.sqref).partition(":")[0][0]: rule.formula1 for rule in sheet.data_validations.dataValidation}
    offered = [cell.value for cell in words["A"][1:] if cell.value]
    assert rules == {"D": f"words!$A$2:$A${len(offered) + 1}", "E": "words!$B$2:$B$4"}
    assert {"no_fault", "could_not_reproduce", "no_access", "not_checked", "other"} < set(offered)
    assert [cell.value for cell in sheet[1]] == list(revisit.VISITS)


def test_filled_boxes_are_loaded_back(demo_station: DemoStation, tmp_path: Path) -> None:
    """The blank table of visits, filled by hand, is a roster sheet that the program takes."""
    import shutil

    folder = tmp_path / "station"
    shutil.copytree(demo_station.folder, folder)
    assert called("revisit", "--week", WEEK, "-w", str(folder)).code == 0
    rows = table(folder / "reports" / f"revisit-{WEEK}" / "visits.csv")
    filled = [{**rows[0], "visited_on": "2026-11-24", "technician": "T", "found": "no_fault", "fixed": "no"}]
    with (folder / "roster" / "visits.csv").open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(filled)
    said = called("roster", str(folder / "roster"), "-w", str(folder))
    assert said.code == 0, said.err


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["--dealer", "Dealer Nobody"], "no finding of a dealer 'Dealer Nobody'"),
        (["--group", "weather"], "by area or by dealer"),
        (["--plan-from", "2026-02-30"], "no such day"),
        (["--per-day", "0"], "--per-day takes 1 to 50"),
    ],
)
def test_what_cannot_be_done_is_said(demo_station: DemoStation, words: list[str], part: str) -> None:
    said = called("revisit", *words, "-w", str(demo_station.folder))
    assert said.code == 2 and said.out == "" and part in said.err and "Traceback" not in said.err


def test_one_dealers_list_holds_no_other_dealer(demo_station: DemoStation, tmp_path: Path) -> None:
    run = demo_station.run(WEEK)
    revisit.write(run, tmp_path, dealer="Dealer Birch", group="dealer")
    everything = "".join(p.read_text(encoding="utf-8") for p in tmp_path.rglob("*") if p.suffix in (".html", ".csv"))
    assert "Dealer Birch" in everything
    assert not [name for name in ("Dealer Alder", "Dealer Cedar", "Dealer Dogwood", "Dealer Elm") if name in everything]
    dealers = {row["dealer"] for row in table(tmp_path / "revisit.csv")}
    assert dealers == {"Dealer Birch"}
