"""Workbooks for tests, written by xlsxwriter, which shares no code with what reads them."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import xlsxwriter

Fill = Callable[[Any], Any]


def written(path: Path, fill: Fill, **options: Any) -> Path:
    with xlsxwriter.Workbook(path, options) as book:
        fill(book)
    return path


def two_sheets(book: Any) -> None:
    first, hidden, second = (book.add_worksheet(name) for name in ("Log", "Work", 'Old,"x"!'))
    deep = book.add_worksheet("Deep")
    hidden.hide()
    deep.very_hidden()
    book.add_chartsheet("Chart").set_chart(_chart(book))
    for sheet in (first, hidden, deep):
        sheet.write_row(0, 0, ["account", "event", "text"])
    first.write_row(3, 0, ["0042", "E130"])
    first.write_blank(4, 9, None, book.add_format({"bold": True}))
    first.write_row(5, 1, ["R130", "", "more"])
    first.set_row(5, None, None, {"hidden": True})
    first.write_string(40, 0, "")
    second.write_row(1, 0, ["a,b", 'say "hi"', "two\nlines", " blank "])


def _chart(book: Any) -> Any:
    chart = book.add_chart({"type": "line"})
    chart.add_series({"values": "=Log!$A$1:$A$2"})
    return chart


def changed(path: Path, part: str, change: Callable[[bytes], bytes]) -> None:
    """The workbook with one of its parts changed, which must make a difference."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    assert change(parts[part]) != parts[part]
    parts[part] = change(parts[part])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
