"""A roster's files as sheets of text cells, with the row a person sees in a spreadsheet program."""

from __future__ import annotations

import csv
import hashlib
import io
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from sigaudit.errors import Fault, InputProblem, NothingToRead
from sigaudit.settings import did_you_mean, nearest
from sigaudit.store.roster_tables import SCHEMAS, RosterFile

SHEETS = tuple(SCHEMAS)
LARGEST_BYTES = 200_000_000  # house: above any roster, below what would fill the memory

_DELIMITERS = ",;\t"


@dataclass
class Sheet:
    """One table as written: ``columns`` lower case; ``rows`` are (row number, cells) without blank rows.

    numbers: (row, column) of cells that the file holds as numbers and not as text (xlsx only).
    is_whole: False when the file could not be read to its end.
    """

    name: str
    file: str
    columns: list[str] = field(default_factory=list)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    numbers: set[tuple[int, str]] = field(default_factory=set)
    faults: list[Fault] = field(default_factory=list)
    is_whole: bool = True

    def fault(self, row: int, column: str, value: str, expected: str) -> None:
        shown = value if len(value) <= 80 else value[:77] + "..."
        self.faults.append(Fault(self.file, row, column, shown, expected))


@dataclass
class Reading:
    """What was found: sheets by name, the files with their hashes, faults of whole files, notes."""

    sheets: dict[str, Sheet] = field(default_factory=dict)
    files: list[RosterFile] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def read_folder(folder: Path) -> Reading:
    """The CSV sheets of a folder. Files with other names are left alone, near misses are faults.

    Raises NothingToRead without an ``accounts.csv``.
    """
    reading = Reading()
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() != ".csv" or not path.is_file():
            continue
        name = sheet_name(path.stem, path.name, reading)
        data = read_bytes(path, reading) if name else None
        if name and data is not None:
            reading.sheets[name] = csv_sheet(name, path.name, data)
    if "accounts" not in reading.sheets and not reading.faults:
        raise NothingToRead(
            f"{folder}: holds no accounts.csv",
            next_step="save the accounts there, or name the roster's folder",
        )
    return reading


def sheet_name(written: str, file: str, reading: Reading) -> str:
    """Known sheet for a file's or sheet's name, '' if it is none; near misses and doubles become faults."""
    name = written.strip().casefold()
    if name in reading.sheets:
        reading.faults.append(Fault(file, 0, "", written, f"expected {name} only once"))
        return ""
    if name in SHEETS:
        return name
    if nearest(name, SHEETS):
        reading.faults.append(Fault(file, 0, "", written, f"expected a known name{did_you_mean(name, SHEETS)}"))
    else:
        reading.notes.append(f"{file}: not a sheet of the roster, left alone")
    return ""


def read_bytes(path: Path, reading: Reading) -> bytes | None:
    """Content of a file, noted with its hash; None after a fault."""
    try:
        if path.stat().st_size > LARGEST_BYTES:
            reading.faults.append(Fault(path.name, 0, "", "", f"expected at most {LARGEST_BYTES} bytes"))
            return None
        data = path.read_bytes()
    except OSError as error:
        reading.faults.append(Fault(path.name, 0, "", "", f"cannot be read: {error.strerror}"))
        return None
    reading.files.append(RosterFile(path.name, hashlib.sha256(data).hexdigest()))
    return data


def csv_sheet(name: str, file: str, data: bytes) -> Sheet:
    """Sheet of CSV bytes: UTF-8 with or without byte-order mark; comma, semicolon or tab by the header."""
    sheet = Sheet(name, file)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = data.count(b"\n", 0, error.start) + 1
        value = data[error.start : error.start + 1].hex()
        sheet.fault(row, "", f"0x{value}", f"expected UTF-8; byte {error.start} is none; save as CSV UTF-8")
        sheet.is_whole = False
        return sheet
    header = text.lstrip("\r\n").split("\n", 1)[0]
    delimiter = max(_DELIMITERS, key=lambda sign: _outside_quotes(header, sign))
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[list[str]] = []
    try:
        records.extend(lines)
    except csv.Error as error:
        sheet.fault(len(records) + 1, "", "", f"expected closed quotes and whole cells ({error})")
        sheet.is_whole = False
    fill(sheet, enumerate(records, 1))
    return sheet


def _outside_quotes(header: str, sign: str) -> int:
    return sum(part.count(sign) for part in header.split('"')[::2])


def fill(sheet: Sheet, records: Iterable[tuple[int, list[str]]]) -> None:
    """Puts header and rows into a sheet; nameless, double and surplus cells become faults."""
    for number, record in records:
        cells = [clean(cell) for cell in record]
        if not sheet.columns:
            if not any(cells):
                continue
            sheet.columns = [cell.casefold() for cell in cells]
            for column in sorted({name for name in sheet.columns if name and sheet.columns.count(name) > 1}):
                sheet.fault(number, column, column, "expected each column once")
            for column in sheet.columns:
                if not column.isprintable():
                    sheet.fault(number, "", repr(column), "expected printable column names")
            continue
        if not any(cells):
            continue
        for cell in cells[len(sheet.columns) :]:
            if cell:
                sheet.fault(number, "", cell, f"expected {len(sheet.columns)} cells as in the header, or quotes")
        kept = cells[: len(sheet.columns)] + [""] * (len(sheet.columns) - len(cells))
        for column, cell in zip(sheet.columns, kept, strict=True):
            if cell and not column:
                sheet.fault(number, "", cell, "expected a name for this column in the header")
            if any(unicodedata.category(char) in ("Cc", "Cs") for char in cell):
                sheet.fault(number, column, cell, "expected text without control characters")
        sheet.rows.append((number, kept))
    if not sheet.columns and not sheet.faults:
        sheet.fault(1, "", "", "expected a header line")


def clean(cell: str) -> str:
    """A cell without blanks around it; a line break or tab inside becomes one blank."""
    if "\n" in cell or "\r" in cell or "\t" in cell:
        cell = " ".join(cell.split())
    return cell.strip()


def no_roster(path: Path) -> InputProblem:
    """The error for a path that cannot hold a roster."""
    return InputProblem(
        f"{path}: is neither a folder of CSV files nor an .xlsx",
        next_step="name the folder that holds accounts.csv, or save the workbook as .xlsx",
    )
