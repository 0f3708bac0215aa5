"""Rejects of every kind of layout read again: records of several lines, frames, workbooks, lines of several events."""

# ruff: noqa: E501 (a pattern is one line)
from __future__ import annotations

from pathlib import Path

import pytest
import xlsxwriter

from sigaudit.reading.ingest import Sum
from tests.reading.dc09_frames import framed, sealed
from tests.reading.mended_layouts import fresh, named_alike, put, run_again, said
from tests.reading.small_station import Station

SLIPS = r"""
id = "own"
kind = "pattern"
[text]
ignore = ['^PAGE \d+$']
[pattern]
begins = '^SLIP '
most_lines = 4
line = '(?s)SLIP (?P<received_at>\S+ \S+)\nACCT (?P<account>{account}+)\n(?P<event>[ERP]\d{{3}})(?:\nNOTE (?P<text>[^\n]*))?'
[time]
timezone = "UTC"
"""
FRAMES = r"""
id = "own"
kind = "dc09"
[pattern]
line = '(?P<received_at>\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d) L(?P<line>PLACE) (?P<frame>.+)'
[time]
timezone = "UTC"
"""
BOOK = """
id = "own"
kind = "sheet"
[recognise]
header = ["Received", "Account", "Event"]
[time]
column = "Received"
format = "{form}"
timezone = "UTC"
[fields]
account = "Account"
event = "Event"
text = "Remark"
"""
KEY = bytes(range(16))


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return Station(tmp_path / "mended")


def frames(*found: bytes, line: str = "4") -> bytes:
    return b"".join(b"2026-11-02T08:15:30 L" + line.encode() + b" " + one.strip(b"\r\n") + b"\n" for one in found)


def slip(minute: int, account: str, *, note: str = "") -> str:
    return f"SLIP 2026-11-02 08:{minute:02d}:30\nACCT {account}\nE130\n" + (f"NOTE {note}\n" if note else "")


def test_records_of_several_lines(station: Station) -> None:
    """Lines that were refused one by one are a record now; those with something held in between are not."""
    lines = [slip(1, "0042"), slip(2, "B043", note="by hand"), "torn\n", slip(3, "B044"), slip(4, "0045")]
    content = "".join([*lines, *(slip(n, "7") for n in range(10, 30))]).encode()
    strict, loose = SLIPS.format(account=r"\d"), SLIPS.format(account=r"\w")
    put(station, strict)
    station.take(("a.log", content), layout_id="own")
    assert {row[3] for row in station.rejects()} == {"no_match"} and len(station.rejects()) == 8
    put(station, loose)
    assert run_again(station).sum == Sum(3, 2, 0, 1)
    other = fresh(station.folder.parent / "fresh", loose, ("a.log", content))
    named_alike(station, other)
    assert said(station, provisional=False) == said(other, provisional=False)
    assert run_again(station).sum == Sum(1, 0, 0, 1)


def test_a_record_is_not_gathered_over_a_line_that_is_held(station: Station) -> None:
    begun = "SLIP 2026-11-02 08:01:30\nACCT B042\n"
    content = "".join([begun, slip(2, "7"), "E130\n", *(slip(n, "7") for n in range(10, 30))]).encode()
    put(station, SLIPS.format(account=r"\d"))
    station.take(("a.log", content), layout_id="own")
    before = station.rejects()
    put(station, SLIPS.format(account=r"\w"))
    assert run_again(station).sum == Sum(3, 0, 0, 3)
    assert station.rejects() == before


def test_a_line_of_several_events_counts_once(station: Station) -> None:
    several = framed('"SIA-DCS"0008L0#1234[#1234|Nri1/BA01/BA02/BA03]')
    content = frames(several, framed('"NULL"0000L0#1234[]'), line="A") + frames(framed('"NULL"0001L0#1234[]'))
    put(station, FRAMES.replace("PLACE", r"\d"))
    station.take(("a.log", content), layout_id="own")
    put(station, FRAMES.replace("PLACE", r"\w"))
    assert run_again(station).sum == Sum(2, 2)
    assert len(station.signals()) == 5
    other = fresh(station.folder.parent / "fresh", FRAMES.replace("PLACE", r"\w"), ("a.log", content))
    named_alike(station, other)
    assert said(station) == said(other)


def test_sealed_frames_are_opened_once_their_key_is_there(station: Station, monkeypatch: pytest.MonkeyPatch) -> None:
    """The layout is as it was; what was wanting stood in the settings."""
    pytest.importorskip("cryptography")
    clear = b"x" * 9 + b"|#1234|1130 01 002]_08:15:28,11-02-2026"
    put(station, FRAMES.replace("PLACE", r"\d"))
    station.take(("a.log", frames(sealed('"*ADM-CID"0009L0#1234', clear, KEY))), layout_id="own")
    assert {row[3] for row in station.rejects()} == {"frame_no_key"}
    assert run_again(station).sum == Sum(1, 0, 0, 1)
    station.receivers.dc09_keys = {"1234": "SOME_KEY"}
    monkeypatch.setenv("SOME_KEY", KEY.hex())
    assert run_again(station).sum == Sum(1, 1)
    assert station.signals(["account", "code", "zone"]) == [("1234", "130", "002")]


def test_rows_of_a_workbook(station: Station) -> None:
    """A cell of two lines is one row, with the same number and text as when it is read at once."""
    path = station.folder / "log.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Log")
        sheet.write(0, 0, "Weekly activity")
        sheet.write_row(2, 0, ["Received", "Account", "Event", "Remark"])
        sheet.write_row(3, 0, ["02.11.2026 08:15:30", "0042", "E130", "two\nlines"])
        sheet.write_row(4, 0, ["in the morning", "0043", "E130", ""])
    put(station, BOOK.format(form="%m/%d/%Y %H:%M"))
    station.run([path])
    put(station, BOOK.format(form="%d.%m.%Y %H:%M:%S"))
    assert run_again(station).sum == Sum(2, 1, 0, 1)
    other = fresh(station.folder.parent / "fresh", BOOK.format(form="%d.%m.%Y %H:%M:%S"))
    other.run([path])
    named_alike(station, other)
    assert said(station) == said(other)
    assert station.signals(["text"]) == [("two\nlines",)]
