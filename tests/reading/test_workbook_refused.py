"""Workbooks that are none, are damaged, locked or swell: one sentence, and nothing of them is read."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

import pytest

from sigaudit.errors import InputProblem, NothingToRead
from sigaudit.reading import workbook_parts, workbook_rows
from sigaudit.reading.content import Content, is_as_stored
from tests.reading.workbooks import changed, two_sheets, written


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "export.xlsx"


def archive(path: Path, **parts: bytes) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in parts.items():
            packed.writestr(name.replace("__", "/").replace("_xml", ".xml"), data)
    return path


def read(path: Path) -> bytes:
    with Content(path, "export.xlsx") as content:
        return content.read(1 << 20)


def refused(path: Path, words: str) -> None:
    with pytest.raises(InputProblem, match=words) as told:
        Content(path, "export.xlsx")
    assert told.value.message.startswith("export.xlsx: ") and "\n" not in told.value.message
    assert told.value.next_step


def test_other_archives_and_old_workbooks_are_refused(path):
    archive(path, a_csv=b"received_at\n")
    refused(path, "is an archive and no .xlsx workbook")
    # The mark of a compound file, from memory: old workbooks are one, and so is a workbook under a password.
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))
    refused(path, r"old binary kind \(.xls\)")
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600) + "EncryptedPackage".encode("utf-16-le"))
    refused(path, "locked with a password")
    assert not is_as_stored(path)


@pytest.mark.parametrize(
    ("part", "before", "after", "words"),
    [
        ("xl/worksheets/sheet1.xml", b'<row r="6"', b'<row r="3"', "row 3 stands after row 5"),
        ("xl/worksheets/sheet1.xml", b'<row r="6"', b'<row r="1048577"', "row 1048577 stands after"),
        ("xl/worksheets/sheet1.xml", b'<c r="B1"', b'<c r="A1"', "row 1 holds column 1 twice"),
        ("xl/worksheets/sheet1.xml", b'<c r="B1"', b'<c r="XFE1"', "more than 16384 columns"),
        ("xl/worksheets/sheet1.xml", b'<c r="B1"', b'<c r="AAAAAAA1"', "where a cell's place must"),
        ("xl/worksheets/sheet1.xml", b"<v>1</v>", b"<v>99</v>", "refers to text 99"),
        ("xl/worksheets/sheet1.xml", b'<c r="B1" t="s">', b'<c r="B1"><v>x</v>', "where a number must"),
        ("xl/worksheets/sheet1.xml", b"</sheetData>", b"", "ExpatError"),
        ("xl/worksheets/sheet1.xml", b"sheetData>", b"sheetDate>", "no rows part"),
        ("xl/sharedStrings.xml", b"</sst>", b"", "ExpatError"),
        ("xl/_rels/workbook.xml.rels", b"worksheets/sheet1.xml", b"worksheets/sheet9.xml", "sheet9.xml is missing"),
    ],
)  # fmt: skip
def test_what_is_damaged_inside_is_one_sentence(path, part, before, after, words):
    written(path, two_sheets)
    changed(path, part, lambda xml: xml.replace(before, after))
    refused(path, words)


def test_a_workbook_cut_off_or_changed_anywhere_never_says_something_else(tmp_path, path):
    """Its rows as they were, or one sentence; the checksums of the archive and of its XML see to it."""
    whole = read(written(tmp_path / "whole.xlsx", two_sheets))
    data = (tmp_path / "whole.xlsx").read_bytes()
    for at in range(0, len(data), 23):
        for spoiled in (data[:at], data[:at] + bytes([data[at] ^ 0x55]) + data[at + 1 :]):
            path.write_bytes(spoiled)
            try:
                found = read(path)
            except (InputProblem, NothingToRead) as problem:
                assert problem.next_step
                continue
            assert found in (whole, spoiled)


BOMB = b"<!DOCTYPE x [<!ENTITY a0 'ha'>%s]><x>&a30;</x>" % b"".join(
    b"<!ENTITY a%d '&a%d;&a%d;'>" % (i, i - 1, i - 1) for i in range(1, 31)
)


@pytest.mark.parametrize("part", ["xl/sharedStrings.xml", "xl/workbook.xml", "xl/worksheets/sheet1.xml"])
def test_entities_that_swell_are_refused(path, part):
    written(path, two_sheets)
    changed(path, part, lambda _: BOMB)
    refused(path, "damaged or too large")


def test_bombs_are_refused_before_they_burst(path, monkeypatch):
    written(path, two_sheets)
    changed(path, "docProps/app.xml", lambda _: b"\0" * 2_000_000)
    assert path.stat().st_size < 20_000
    monkeypatch.setattr(workbook_parts, "LARGEST_BYTES", 1 << 20)
    refused(path, "it unpacks to more than 1 MiB")


def test_rows_that_swell_by_padding_or_by_repeating_a_text_are_refused(path, monkeypatch):
    monkeypatch.setattr(workbook_rows, "LARGEST_BYTES", 1 << 20)

    def wide(book: Any) -> None:
        sheet = book.add_worksheet("Log")
        sheet.write_column(0, 0, ["a"] * 100)
        sheet.write(100, 16_383, "b")

    refused(written(path, wide), "come to more than 1 MiB of text")

    def long(book: Any) -> None:
        book.add_worksheet("Log").write_column(0, 0, ["x" * 32_000] * 100)

    refused(written(path, long), "come to more than 1 MiB of text")
    assert path.stat().st_size < 20_000
    monkeypatch.setattr(workbook_rows, "_LARGEST_ROW", 1 << 16)

    def broad(book: Any) -> None:
        book.add_worksheet("Log").write_row(0, 0, ["x" * 32_000] * 3)

    refused(written(path, broad), "row 1 of Log has more than")


def test_a_tag_without_an_end_is_refused(path):
    written(path, two_sheets)
    changed(path, "xl/worksheets/sheet1.xml", lambda xml: xml.partition(b"<row")[0] + b"<!--" + b" " * (20 << 20))
    refused(path, "a tag of it does not end")


def test_a_locked_member_is_refused(path):
    """Bit 0 of the general purpose flag says that a member is encrypted (APPNOTE of the archive format, 4.4.4)."""
    data = bytearray(written(path, two_sheets).read_bytes())
    data[data.index(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(data)
    refused(path, "is locked with a password")


def test_a_workbook_without_a_visible_value_is_nothing_to_read(path):
    def fill(book: Any) -> None:
        book.add_worksheet("Empty").write_string(3, 3, "")
        book.add_worksheet("Hidden").write(0, 0, "x")
        book.worksheets()[1].hide()

    written(path, fill)
    with pytest.raises(NothingToRead, match="no visible sheet holds a value"):
        Content(path, "export.xlsx")
