"""The rows of one worksheet as texts: what a cell holds, told as an export in CSV would tell it.

The number format matters where the number alone does not say what is meant: dates, times, lengths of time, a date
at midnight, and zeros in front. Otherwise the stored number is told, not the rounded one on the screen.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator
from decimal import Decimal
from functools import lru_cache
from typing import IO

from openpyxl.styles.numbers import is_date_format, is_timedelta_format
from openpyxl.utils.datetime import MAC_EPOCH, WINDOWS_EPOCH, from_excel

from sigaudit.reading.workbook_parts import MOST_LETTERS, Book, Damaged, parse, unescaped

__all__ = ["number_text", "rows"]

_MOST_COLUMNS, _MOST_ROWS = 16_384, 1_048_576  # that a worksheet can have
_MOST_DAYS = 2_958_466  # house: beyond 9999 a length of time is none
_CANONICAL = re.compile(r"-?[1-9][0-9]{0,17}|0")
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_SAID = re.compile(r'"[^"]*"|\\.|_.|\[[^\]]*\]')  # of a number format: what stands for itself, colours, languages
_CELL = re.compile(r"([A-Z]{1,3})[0-9]{1,7}")


def rows(stream: IO[bytes], book: Book) -> Iterator[tuple[int, list[str]]]:
    """(number, texts) of the rows that hold a value, texts from column A to the last that is not empty.

    A formula is told by the value stored with it. Raises Damaged, and what the XML parser raises.
    """
    sheet = _Sheet(book)
    for _ in parse(stream, sheet.start, sheet.end, sheet.text):
        yield from sheet.ready
        sheet.ready.clear()
    if not sheet.closed:
        raise Damaged("a sheet of it holds no rows part")


class _Sheet:
    """Gathers the rows of the sheet data while it is parsed."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.ready: list[tuple[int, list[str]]] = []
        self.closed = False
        self._inside = self._wanted = self._reading = False
        self._row = self._column = 0
        self._cells: dict[int, str] = {}
        self._kind, self._style = "", ""
        self._parts: list[str] = []
        self._letters = 0
        self._columns: dict[str, int] = {}

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if not self._inside:
            self._inside = name == "sheetData"
        elif name == "c":
            self._begin_cell(attributes)
        elif name == "v" or (name == "t" and self._kind == "inlineStr"):
            self._wanted = not self._reading
        elif name == "rPh":
            self._reading = True
        elif name == "row":
            number = attributes.get("r")
            row = self._row + 1 if number is None else _integer(number)
            if not self._row < row <= _MOST_ROWS:
                raise Damaged(f"row {row} stands after row {self._row}")
            self._row, self._column = row, 0

    def end(self, name: str) -> None:
        if not self._inside:
            return
        if name in ("v", "t"):
            self._wanted = False
        elif name == "c":
            if self._parts:
                text = self._value("".join(self._parts))
                if text:
                    if self._column in self._cells:
                        raise Damaged(f"row {self._row} holds column {self._column} twice")
                    self._cells[self._column] = text
        elif name == "row":
            if self._cells:
                cells, last = self._cells, max(self._cells)
                self.ready.append((self._row, [cells.get(at, "") for at in range(1, last + 1)]))
                self._cells = {}
        elif name == "rPh":
            self._reading = False
        elif name == "sheetData":
            self._inside, self.closed = False, True

    def text(self, data: str) -> None:
        if self._wanted:
            self._letters += len(data)
            if self._letters > MOST_LETTERS:
                raise Damaged(f"a cell of row {self._row} has more than {MOST_LETTERS} characters")
            self._parts.append(data)

    def _begin_cell(self, attributes: dict[str, str]) -> None:
        place = attributes.get("r")
        if place is None:
            self._column += 1
        else:
            letters = place.rstrip("0123456789")
            column = self._columns.get(letters)
            if column is None:
                column = self._columns[letters] = _column(place)
            self._column = column
        if self._column > _MOST_COLUMNS:
            raise Damaged(f"row {self._row} has more than {_MOST_COLUMNS} columns")
        self._kind, self._style = attributes.get("t", "n"), attributes.get("s", "")
        self._letters = 0
        self._parts.clear()

    def _value(self, text: str) -> str:
        kind = self._kind
        if kind == "s":
            number = _integer(text)
            if not 0 <= number < len(self.book.strings):
                raise Damaged(f"row {self._row} refers to text {text}, which is not there")
            return self.book.strings[number]
        if kind == "n":
            style = _integer(self._style) if self._style else 0
            formats = self.book.formats
            return number_text(text.strip(), formats[style] if 0 <= style < len(formats) else "", self.book.since_1904)
        if kind == "b":
            return "TRUE" if text.strip() in ("1", "true") else "FALSE"
        if kind == "d":
            return _dated(text.strip())
        return unescaped(text)  # str, inlineStr and e: a text, or the name of an error


def number_text(stored: str, form: str, since_1904: bool = False) -> str:
    """A stored number as text under its number format: digits, or an ISO date, time or length of time.

    Raises Damaged where it is no number.
    """
    kind, zeros = _kind_of(form)
    if kind == "elapsed":
        return _elapsed(stored)
    if kind:
        return _moment(stored, is_day=kind == "day", since_1904=since_1904)
    plain = stored if _CANONICAL.fullmatch(stored) else _plain(stored)
    if zeros and plain.lstrip("-").isdigit():
        return "-" * plain.startswith("-") + plain.lstrip("-").zfill(zeros)
    return plain


@lru_cache(maxsize=1024)
def _kind_of(form: str) -> tuple[str, int]:
    """'elapsed', 'day' (a date without a time), 'moment' or '' for a plain number, and its digits if all are 0."""
    if is_timedelta_format(form):
        return "elapsed", 0
    if is_date_format(form):
        return "moment" if "h" in _SAID.sub("", form).lower() else "day", 0
    zeros = form.partition(";")[0]
    return "", len(zeros) if set(zeros) == {"0"} else 0


def _plain(stored: str) -> str:
    value = _float(stored)
    if re.fullmatch(r"[+-]?[0-9]{1,400}", stored):
        return str(int(stored))
    if not value:
        return "0"
    # repr gives the shortest digits that mean this number; Decimal writes them without an exponent.
    text = format(Decimal(repr(value)), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _moment(stored: str, *, is_day: bool, since_1904: bool) -> str:
    try:
        found = from_excel(_float(stored), MAC_EPOCH if since_1904 else WINDOWS_EPOCH)
    except (OverflowError, ValueError):
        return _plain(stored)  # outside the years that are dates
    # A date and a midnight are the same number; only the format tells which one is meant.
    if isinstance(found, dt.datetime) and is_day and found.time() == dt.time():
        return found.date().isoformat()
    return str(found.isoformat())


def _elapsed(stored: str) -> str:
    days = _float(stored)
    if abs(days) > _MOST_DAYS:
        return _plain(stored)
    milliseconds = round(days * 86_400_000)
    minutes, rest = divmod(abs(milliseconds), 60_000)
    fraction = f".{rest % 1000:03d}" if rest % 1000 else ""
    return f"{'-' * (milliseconds < 0)}{minutes // 60:02d}:{minutes % 60:02d}:{rest // 1000:02d}{fraction}"


def _dated(text: str) -> str:
    """A cell of the kind date, in ISO form already; told as the others are where Python reads it."""
    try:
        return (dt.date if len(text) == 10 else dt.datetime).fromisoformat(text).isoformat()
    except ValueError:
        return text


def _float(stored: str) -> float:
    if not _NUMBER.fullmatch(stored) or not math.isfinite(float(stored)):
        raise Damaged(f"{stored[:40]!r} stands where a number must")
    return float(stored)


def _integer(text: str) -> int:
    text = text.strip()
    if not (text.isdecimal() and len(text) < 10):
        raise Damaged(f"{text[:40]!r} stands where a whole number must")
    return int(text)


def _column(place: str) -> int:
    found = _CELL.fullmatch(place)
    if found is None:
        raise Damaged(f"{place[:40]!r} stands where a cell's place must")
    number = 0
    for letter in found[1]:
        number = number * 26 + ord(letter) - 64
    return number
