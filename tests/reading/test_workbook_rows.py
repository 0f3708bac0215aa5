"""Workbooks as CSV text: written by xlsxwriter, read back by Python's csv; values also against openpyxl's reading."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import re
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.errors import NothingToRead
from sigaudit.reading import workbook_rows
from sigaudit.reading.content import Content, is_as_stored
from sigaudit.reading.growth import Arrival, in_order
from sigaudit.reading.lines import Lines, head_of
from sigaudit.reading.staging import _notes
from sigaudit.reading.workbook_cells import number_text
from tests.reading.workbooks import changed, two_sheets, written

DAY = dt.datetime(2026, 11, 2, 8, 15, 30)


def text_of(path: Path) -> bytes:
    with Content(path, path.name) as content:
        assert content.workbook and not content.wide and not content.returns
        return content.read(1 << 30)


def table(path: Path) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text_of(path).decode("utf-8"), newline=""), strict=True))


def one_row(path: Path, fill: Callable[[Any, Any], None], **options: Any) -> list[str]:
    def whole(book: Any) -> None:
        fill(book, book.add_worksheet("Log"))

    (row,) = table(written(path, whole, **options))
    assert row[0] == "Log!1"
    return row[1:]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "export.xlsx"


def test_every_row_of_every_visible_sheet_behind_its_address(path):
    assert text_of(written(path, two_sheets)) == (
        b"Log!1,account,event,text,\n"
        b"Log!2\n"
        b"Log!3\n"
        b"Log!4,0042,E130,,\n"
        b"Log!5\n"
        b"Log!6,,R130,,more\n"
        b"Old__x__!1\n"
        b'Old__x__!2,"a,b","say ""hi""","two\nlines", blank \n'
    )


def test_dates_times_and_lengths_of_time(path):
    def fill(book: Any, sheet: Any) -> None:
        forms = {name: book.add_format({"num_format": name}) for name in (
            "yyyy-mm-dd hh:mm:ss", "dd.mm.yyyy", "h:mm", "[h]:mm:ss", "mm/dd/yy h:mm AM/PM", '[White]d mmm yy "hour"',
        )}  # fmt: skip
        long, day, time, length, noon, odd = forms.values()
        sheet.write_datetime(0, 0, DAY, long)
        sheet.write_datetime(0, 1, DAY.replace(microsecond=250_000), long)
        sheet.write_datetime(0, 2, dt.date(2026, 11, 2), day)
        sheet.write_datetime(0, 3, DAY, day)  # the time that the format hides
        sheet.write_datetime(0, 4, dt.time(8, 5), time)
        sheet.write_datetime(0, 5, dt.datetime(2026, 11, 2), long)  # midnight
        sheet.write_datetime(0, 6, dt.timedelta(hours=26, minutes=3, seconds=5), length)
        sheet.write_datetime(0, 7, DAY, noon)
        sheet.write_datetime(0, 8, dt.date(2026, 11, 2), odd)  # an h in a colour and in words is no hour
        sheet.write_number(0, 9, 1e7, long)  # the year 29278

    expected = [
        "2026-11-02T08:15:30", "2026-11-02T08:15:30.250000", "2026-11-02", "2026-11-02T08:15:30", "08:05:00",
        "2026-11-02T00:00:00", "26:03:05", "2026-11-02T08:15:30", "2026-11-02", "10000000",
    ]  # fmt: skip
    assert one_row(path, fill) == expected
    assert one_row(path, fill, date_1904=True) == expected


@settings(max_examples=300, deadline=None)
@given(st.datetimes(dt.datetime(1970, 1, 2), dt.datetime(2199, 12, 31)))
def test_every_second_survives_being_a_number_of_days(moment):
    """The serial number is reckoned here, from 1899-12-30 (ECMA-376 part 1, 18.17.4.1), as a program stores it."""
    moment = moment.replace(microsecond=0)
    serial = (moment - dt.datetime(1899, 12, 30)) / dt.timedelta(days=1)
    assert number_text(f"{serial:.17G}", "yyyy-mm-dd hh:mm:ss") == moment.isoformat()
    assert number_text(f"{serial:.15G}", "yyyy-mm-dd hh:mm:ss") == moment.isoformat()  # 15 digits, as is usual


def test_numbers_keep_their_zeros_and_lose_their_point(path):
    def fill(book: Any, sheet: Any) -> None:
        four = book.add_format({"num_format": "0000"})
        for at, (value, form) in enumerate([
            (42, four), (42, None), (12345, four), (-7, four), (4.5, four), (3.0, None), (0.1, None), (1e-7, None),
            (1234567890123456, None), (1e20, None), (0, four), (2.5, book.add_format({"num_format": "0.00"})),
            (130, book.add_format({"num_format": '"E"000'})), (7, book.add_format({"num_format": "00000;-00000"})),
        ]):  # fmt: skip
            sheet.write_number(0, at, value, form)

    assert one_row(path, fill) == [
        "0042", "42", "12345", "-0007", "4.5", "3", "0.1", "0.0000001", "1234567890123456", "100000000000000000000",
        "0000", "2.5", "130", "00007",
    ]  # fmt: skip


def test_truth_values_errors_and_formulas_by_their_stored_value(path):
    def fill(book: Any, sheet: Any) -> None:
        sheet.write_boolean(0, 0, True)
        sheet.write_boolean(0, 1, False)
        sheet.write_formula(0, 2, "=1/0", None, "#DIV/0!")
        sheet.write_formula(0, 3, '="E"&130', None, "E130")
        sheet.write_formula(0, 4, "=40+2", book.add_format({"num_format": "0000"}), 42)
        sheet.write_formula(0, 5, "=A1", None, "")  # no stored value
        sheet.write_string(0, 6, "=1+1")
        sheet.write_formula(0, 7, "=A1", None, True)

    assert one_row(path, fill) == ["TRUE", "FALSE", "#DIV/0!", "E130", "0042", "", "=1+1", "TRUE"]


HOSTILE = [
    "a\r\nb", "a\rb", "\r", "\n", '"', '""', ",", " x ", "_x000D_", "_x005F_", "\x01", "tab\t", "é日本\U0001f512",
    "'=1", "x" * 32_767, "<&>", "\ufeff", "Log!7", "\u2028", ";",
]  # fmt: skip


@pytest.mark.parametrize("memory", [False, True])
def test_hostile_texts_come_back_as_they_were(path, memory):
    """As shared strings, and as texts within their cells."""
    row = one_row(path, lambda _, sheet: sheet.write_row(0, 0, HOSTILE), constant_memory=memory, strings_to_formulas=0)
    assert row == HOSTILE


def test_rich_text_is_its_text_and_not_its_reading(path):
    def fill(book: Any, sheet: Any) -> None:
        bold = book.add_format({"bold": True})
        sheet.write_rich_string(0, 0, "door ", bold, "open", " now")

    assert one_row(path, fill) == ["door open now"]
    changed(path, "xl/sharedStrings.xml", lambda xml: xml.replace(b"</si>", b"<rPh><t>x</t></rPh></si>"))
    assert table(path) == [["Log!1", "door open now"]]


cells = st.one_of(
    st.text(st.characters(codec="utf-8", exclude_categories=("Cc",), exclude_characters="\ufffe\uffff"), max_size=9),
    st.integers(-(10**9), 10**9), st.booleans(), st.none(),
    st.floats(-1e9, 1e9).map(lambda x: round(x, 3)),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(cells, max_size=6), max_size=8))
def test_the_workbook_library_reads_the_same(tmp_path_factory, grid):
    """openpyxl is an independent reader of the format; its values in the words of this module."""
    path = tmp_path_factory.getbasetemp() / "grid.xlsx"
    book = openpyxl.Workbook()
    for row in grid:
        book.active.append(["'" + cell if isinstance(cell, str) else cell for cell in row])
    book.save(path)
    expected = [[told(value) for value in row] for row in openpyxl.load_workbook(path).active.values]
    while expected and not any(expected[-1]):
        expected.pop()
    if not expected:
        with pytest.raises(NothingToRead, match="no visible sheet holds a value"):
            Content(path, "grid.xlsx")
        return
    found = table(path)
    width = max(len(row) for row in found)
    assert [row[0] for row in found] == [f"Sheet!{i}" for i in range(1, len(expected) + 1)]
    for row, values in zip(found, expected, strict=True):
        assert row[1:] == (values[: width - 1] if any(values) else []) and not any(values[width - 1 :])


def told(value: str | float | None) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    if isinstance(value, bool):
        return str(value).upper()
    return str(int(value)) if value == int(value) else re.sub(r"0+$", "", f"{value:.6f}")


def test_equal_workbooks_are_equal_texts_whenever_they_were_saved(tmp_path):
    later = written(tmp_path / "b.xlsx", lambda book: (book.set_properties({"author": "x"}), two_sheets(book)))
    packed = written(tmp_path / "c.xlsx", two_sheets, constant_memory=False, in_memory=True)
    first = text_of(written(tmp_path / "a.xlsx", two_sheets))
    assert first == text_of(later) == text_of(packed)
    assert (tmp_path / "a.xlsx").read_bytes() != later.read_bytes()


def test_a_workbook_is_known_by_its_bytes_and_never_as_it_is_stored(tmp_path):
    path = written(tmp_path / "export.log", two_sheets)
    content = text_of(path)
    assert not is_as_stored(path)
    assert head_of(path, "export.log") == content
    lines = Lines(path, "export.log")
    assert [line for block in lines for line in block.raw.to_pylist()] == content[:-1].split(b"\n")
    assert lines.workbook and _notes(lines) == ("workbook, read as CSV",)
    assert lines.digests.hexdigest() == hashlib.sha256(content).hexdigest()
    shorter = tmp_path / "z.csv"
    shorter.write_bytes(content[:40])
    named = [Arrival(one, one.name, head_of(one, one.name)) for one in (path, shorter)]
    assert [one.name for one in in_order(named)] == ["z.csv", "export.log"]  # by the size of the content


def test_a_log_that_begins_like_an_archive_by_name_only_is_text(tmp_path):
    path = tmp_path / "export.xlsx"
    path.write_bytes(b"received_at,event\n")
    with Content(path, "export.xlsx") as content:
        assert not content.workbook and content.read(99) == b"received_at,event\n"
    assert is_as_stored(path)


def test_many_rows_lie_in_a_file_and_not_in_memory(path, monkeypatch):
    monkeypatch.setattr(workbook_rows, "_IN_MEMORY", 1 << 16)
    texts = "x" * 400

    def fill(book: Any) -> None:
        sheet = book.add_worksheet("Log")
        for row in range(20_000):
            sheet.write_row(row, 0, [row, "E130", texts])

    written(path, fill, constant_memory=True)
    tracemalloc.start()
    size, digest = 0, hashlib.sha256()
    with Content(path, "export.xlsx") as content:
        while data := content.read(1 << 16):
            size += len(data)
            digest.update(data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    expected = "".join(f"Log!{row + 1},{row},E130,{texts}\n" for row in range(20_000)).encode()
    assert (size, digest.digest()) == (len(expected), hashlib.sha256(expected).digest())
    assert size > 8_000_000 and peak < 3_000_000


def test_the_widest_row_may_come_last(path):
    def fill(book: Any) -> None:
        sheet = book.add_worksheet("Log")
        sheet.write_column(0, 0, ["a"] * 3000)
        sheet.write_row(3000, 0, ["b"] * 30)
        book.add_worksheet("Two").write(0, 0, "c")

    found = table(written(path, fill))
    assert {len(row) for row in found[:-1]} == {31} and found[-1] == ["Two!1", "c"]
