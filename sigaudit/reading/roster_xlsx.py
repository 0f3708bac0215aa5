"""The sheets of a workbook, told as text the way the CSV sheets are."""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
import zipfile
import zlib
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from sigaudit.errors import Fault, NothingToRead
from sigaudit.reading.roster_sheets import LARGEST_BYTES, Reading, Sheet, fill, read_bytes, sheet_name

# What the workbook library raises on damaged files: the container's errors, the XML parser's, and
# those of its own code meeting parts that are missing or of another shape.
_DAMAGED = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, OSError, ElementTree.ParseError,
    InvalidFileException, KeyError, IndexError, ValueError, TypeError, AttributeError, NotImplementedError,
    RuntimeError, OverflowError, AssertionError,
)  # fmt: skip
_MOST_ROWS = 1_048_576  # rows a worksheet can have
_FORMULA = re.compile(rb"<(?:\w+:)?f[ >/]")


def read_workbook(path: Path) -> Reading:
    """The sheets of an ``.xlsx`` whose names are those of the roster.

    Raises NothingToRead without a sheet ``accounts``.
    """
    reading = Reading()
    data = read_bytes(path, reading)
    if data is None:
        return reading
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as parts:
            infos = parts.infolist()
            if sum(part.file_size for part in infos) > LARGEST_BYTES:
                reading.faults.append(Fault(path.name, 0, "", "", f"expected at most {LARGEST_BYTES} bytes unpacked"))
                return reading
            formulas = any(
                part.filename.startswith("xl/worksheets/") and _FORMULA.search(parts.read(part)) for part in infos
            )
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and extensions that do not matter here
            _read_sheets(path.name, data, formulas, reading)
    except _DAMAGED as error:
        kind = type(error).__name__
        reading.faults.append(Fault(path.name, 0, "", "", f"expected a whole .xlsx workbook ({kind}: {error})"[:300]))
        return reading
    if "accounts" not in reading.sheets and not reading.faults:
        raise NothingToRead(f"{path}: holds no sheet named accounts", next_step="name the sheet with the accounts so")
    return reading


def _read_sheets(file: str, data: bytes, formulas: bool, reading: Reading) -> None:
    values = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    written = openpyxl.load_workbook(io.BytesIO(data), read_only=True) if formulas else None
    for worksheet in values.worksheets:
        shown = f"{file} [{worksheet.title}]"
        name = sheet_name(worksheet.title, shown, reading)
        if not name:
            continue
        sheet = Sheet(name, shown)
        # Their stored extent is often wrong, and rows outside it would be lost without a word.
        worksheet.reset_dimensions()
        records: list[tuple[int, list[str]]] = []
        numbers: set[tuple[int, int]] = set()
        for row, cells in enumerate(worksheet.iter_rows(max_row=_MOST_ROWS), 1):
            records.append((row, [_text(cell, sheet, row) for cell in cells]))
            numbers.update((row, at) for at, cell in enumerate(cells) if cell.data_type == "n" and _is_number(cell))
        if written is not None:
            _formulas_without_value(written[worksheet.title], records, sheet)
        fill(sheet, records)
        sheet.numbers = {(row, sheet.columns[at]) for row, at in numbers if at < len(sheet.columns)}
        reading.sheets[name] = sheet


def _is_number(cell: Any) -> bool:
    return isinstance(cell.value, int | float) and not isinstance(cell.value, bool)


def _text(cell: Any, sheet: Sheet, row: int) -> str:
    """A cell as the text a CSV sheet would hold; ISO dates and times; yes and no for truth values."""
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "e":
        sheet.fault(row, "", str(value), "expected a value, not a formula that failed")
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime):
        # A date and a midnight are the same number; only the format tells which one is meant.
        if value.time() == dt.time() and "h" not in str(cell.number_format).lower():
            return value.date().isoformat()
        return value.replace(microsecond=0).isoformat()
    return str(value)


def _formulas_without_value(worksheet: Any, records: list[tuple[int, list[str]]], sheet: Sheet) -> None:
    """A formula whose result was never stored looks like an empty cell: say so instead of losing it."""
    worksheet.reset_dimensions()
    texts = dict(records)
    for row, cells in enumerate(worksheet.iter_rows(max_row=_MOST_ROWS), 1):
        for at, cell in enumerate(cells):
            if cell.data_type == "f" and not texts[row][at]:
                formula = getattr(cell.value, "text", cell.value)
                sheet.fault(row, "", str(formula), "expected a value; open and save the workbook, or paste values")
