"""Worksheets: the workbook is written with xlsxwriter, an independent library, and read by a layout."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
import xlsxwriter

from sigaudit.errors import LayoutUnknown
from sigaudit.reading import layout_files
from sigaudit.reading.ingest import Sum
from sigaudit.reading.layout_samples import check_samples
from tests.reading.small_station import Station

LAYOUT = r"""
id = "book"
kind = "sheet"
[recognise]
header = ["Received", "Account", "Event"]
[time]
column = "Received"
format = "%d.%m.%Y %H:%M:%S"
timezone = "UTC"
[fields]
account = "Account"
event = "Event"
zone = "Zone"
text = "Remark"
[account]
width = 4
[[samples]]
header = "Received,Account,Event,Zone,Remark"
line = '02.11.2026 08:15:30,42,E130,7,"late, again"'
gives = { account = "0042", received_utc = "2026-11-02 08:15:30", zone = "007", text = "late, again" }
[[samples]]
header = "Received,Account,Event"
line = ",42,E130"
rejects = "time_missing"
"""


@pytest.fixture
def station(tmp_path: Path) -> Station:
    made = Station(tmp_path)
    (made.receivers.layouts_dir / "book.toml").write_text(LAYOUT, encoding="utf-8")
    return made


def workbook(path: Path, *, sheets: bool = True) -> Path:
    with xlsxwriter.Workbook(path) as book:
        if sheets:
            notes = book.add_worksheet("Notes")
            notes.write_row(0, 0, ["written", "by", "nobody"])
        log = book.add_worksheet("Log, main")
        log.write(0, 0, "Weekly activity")
        log.write_row(2, 0, ["Zone", "Received", "Event", "Account", "Remark"])
        stamp = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        zeros = book.add_format({"num_format": "0000"})
        log.write(3, 0, 7)
        log.write_datetime(3, 1, datetime(2026, 11, 2, 8, 15, 30), stamp)
        log.write(3, 2, "E130")
        log.write(3, 3, 42)
        log.write(3, 4, "two\nlines")
        log.write_row(4, 0, ["", "02.11.2026 08:16:30", "R130"])
        log.write(4, 3, 43, zeros)
        log.write_row(6, 0, ["Zone", "Received", "Event", "Account", "Remark"])
        log.write_row(7, 0, ["1", "not a time", "E130", "0044"])
        book.add_worksheet("Sums").write_row(0, 0, ["E130", 3])
    return path


def test_a_sheet_among_others(station: Station) -> None:
    result = station.run([workbook(station.folder / "log.xlsx")])
    found = station.rows("select account, received_utc, event_raw, zone, text from t order by received_utc")
    assert found == [
        ("0042", datetime(2026, 11, 2, 8, 15, 30), "E130", "007", "two\nlines"),
        ("0043", datetime(2026, 11, 2, 8, 16, 30), "R130", "", ""),
    ]
    ((reason, raw),) = station.rows("select reason, raw from t", "rejects")
    assert reason == "time_unreadable" and raw.startswith("Log_ main!8,1,not a time")
    assert result.sum == Sum(lines=10, signals=2, rejects=1, skipped=7)
    assert station.run([station.folder / "log.xlsx"]).sources[0].state == "held"


def test_the_same_rows_saved_anew_are_repeats(station: Station) -> None:
    station.run([workbook(station.folder / "log.xlsx")])
    again = station.run([workbook(station.folder / "other.xlsx", sheets=False)])
    assert (again.sum.signals, again.sum.repeats) == (0, 2)


def test_a_named_sheet(tmp_path: Path) -> None:
    for name, fits in (("Log_ main", True), ("Sums", False)):
        station = Station(tmp_path / name.replace(" ", ""))
        text = LAYOUT.replace("[time]", f'[sheet]\nname = "{name}"\n[time]', 1)
        (station.receivers.layouts_dir / "book.toml").write_text(text, encoding="utf-8")
        path = workbook(station.folder / "log.xlsx")
        if fits:
            assert station.run([path]).sum.signals == 2
        else:
            with pytest.raises(LayoutUnknown, match="the header has no column"):
                station.run([path])


def test_text_is_no_workbook(station: Station) -> None:
    with pytest.raises(LayoutUnknown, match=r"book \(it is no workbook\)"):
        station.take(("log.csv", b"Received,Account,Event\n02.11.2026 08:15:30,0042,E130\n"))


def test_samples_hold(tmp_path: Path) -> None:
    path = tmp_path / "book.toml"
    path.write_text(LAYOUT, encoding="utf-8")
    assert check_samples(layout_files.read(path)) == 2
