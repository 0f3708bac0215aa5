"""A workbook as the CSV text that its worksheets come to: one record per row, its address first.

The text is the same for the same values, whatever program has written the workbook and when. The rows of a sheet
are padded to its widest one, which is known only at its end: they lie in a temporary file until then.
"""

from __future__ import annotations

import io
import re
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, BinaryIO
from xml.etree import ElementTree
from xml.parsers import expat

from sigaudit.errors import InputProblem, NothingToRead
from sigaudit.reading.workbook_cells import rows
from sigaudit.reading.workbook_parts import LARGEST_BYTES, Book, Damaged, read_book

__all__ = ["opened"]

_IN_MEMORY = 32 << 20
_LARGEST_ROW = 64 << 20  # house: characters of one row, which is made in memory
_HEAD = struct.Struct("<IH")  # of a record: its bytes and its cells; 0 cells = not padded
_QUOTED = re.compile(r'[,"\r\n]')
_IN_TITLE = re.compile(r'[,"!\r\n]')
_SEARCHED = 64 << 20
_SAVE = "save it as an .xlsx workbook or as CSV, and take that in"
_LOCKED = "EncryptedPackage".encode("utf-16-le")
# What the standard library raises on damaged archives and on parts that are no XML.
_BROKEN = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, OSError, ElementTree.ParseError, expat.ExpatError,
    Damaged, NotImplementedError, ValueError, KeyError, struct.error,
)  # fmt: skip


def opened(path: Path, name: str) -> BinaryIO:
    """The text of a workbook as a stream of bytes, to be closed.

    Every row of every visible worksheet up to its last one with a value is a record ``TITLE!ROW,cell,...``: UTF-8,
    comma, quote ``"``, ends in a line feed; a row without a value is its address alone. In the title, commas,
    quotes, exclamation marks and line breaks are ``_``. What a cell is told as: ``workbook_cells``.
    Raises InputProblem: an archive or old workbook that is none of these, damaged, locked, too large;
    NothingToRead: no visible row.
    """
    with path.open("rb") as stream:
        compound = stream.read(2) != b"PK"
        locked = compound and _LOCKED in stream.read(_SEARCHED)
    if compound:
        kind = "a workbook locked with a password" if locked else "a workbook of the old binary kind (.xls)"
        raise InputProblem(f"{name}: is {kind}, which is not read", next_step=_SAVE)
    spool = tempfile.SpooledTemporaryFile(_IN_MEMORY)  # noqa: SIM115 (the reader closes it)
    try:
        with zipfile.ZipFile(path) as archive:
            if not any(part.lower() == "xl/workbook.xml" for part in archive.namelist()):
                raise InputProblem(f"{name}: is an archive and no .xlsx workbook", next_step=f"unpack it, or {_SAVE}")
            if any(part.flag_bits & 1 for part in archive.infolist()):
                raise InputProblem(f"{name}: is locked with a password", next_step=_SAVE)
            sheets = _spooled(archive, read_book(archive), spool)
    except _BROKEN as error:
        spool.close()
        raise InputProblem(
            f"{name}: the workbook is damaged or too large: {_short(error)}",
            next_step="export or save it again; nothing of it was taken in",
        ) from error
    except InputProblem:
        spool.close()
        raise
    if not sheets:
        spool.close()
        raise NothingToRead(f"{name}: no visible sheet holds a value", next_step="export it again")
    spool.seek(0)
    return io.BufferedReader(_Padded(spool, sheets), 1 << 16)


def _spooled(archive: zipfile.ZipFile, book: Book, spool: IO[bytes]) -> list[tuple[int, int]]:
    """Writes the records without padding, each behind its head; answers (records, width) of every sheet."""
    found, size = [], 0
    for sheet in book.sheets:
        title, last, width, padding = _IN_TITLE.sub("_", sheet.title), 0, 0, 0
        filled = cells = 0
        with archive.open(sheet.part) as stream:
            for number, texts in rows(stream, book):
                for blank in range(last + 1, number):
                    size += _put(spool, f"{title}!{blank}", 0)
                if sum(map(len, texts)) > _LARGEST_ROW:
                    raise Damaged(f"row {number} of {title} has more than {_LARGEST_ROW} characters")
                size += _put(spool, f"{title}!{number},{_joined(texts)}", len(texts))
                last, width = number, max(width, len(texts))
                filled, cells = filled + 1, cells + len(texts)
                padding = filled * width - cells
                if size + padding > LARGEST_BYTES:
                    raise Damaged(f"its rows come to more than {LARGEST_BYTES >> 20} MiB of text")
        if last:
            found.append((last, width))
            size += padding
    return found


def _put(spool: IO[bytes], record: str, cells: int) -> int:
    data = record.encode("utf-8")
    spool.write(_HEAD.pack(len(data), cells))
    spool.write(data)
    return len(data) + 1


def _joined(texts: list[str]) -> str:
    line = ",".join(texts)
    if line.count(",") == len(texts) - 1 and '"' not in line and "\n" not in line and "\r" not in line:
        return line
    return ",".join('"' + text.replace('"', '""') + '"' if _QUOTED.search(text) else text for text in texts)


class _Padded(io.RawIOBase):
    """The records of a spool, each padded to the width of its sheet."""

    def __init__(self, spool: IO[bytes], sheets: list[tuple[int, int]]) -> None:
        self._spool = spool
        self._records = self._padded(sheets)
        self._waiting = memoryview(b"")

    def readable(self) -> bool:
        return True

    def readinto(self, into: memoryview) -> int:  # type: ignore[override]
        while not self._waiting:
            record = next(self._records, None)
            if record is None:
                return 0
            self._waiting = memoryview(record)
        part = self._waiting[: len(into)]
        into[: len(part)] = part
        self._waiting = self._waiting[len(part) :]
        return len(part)

    def close(self) -> None:
        self._spool.close()
        super().close()

    def _padded(self, sheets: list[tuple[int, int]]) -> Iterator[bytes]:
        """Some records at a time, so that their number does not become that of the reads."""
        parts, size = [], 0
        for records, width in sheets:
            for _ in range(records):
                length, cells = _HEAD.unpack(self._spool.read(_HEAD.size))
                parts.append(self._spool.read(length) + b"," * (width - cells if cells else 0) + b"\n")
                size += len(parts[-1])
                if size >= 1 << 16:
                    yield b"".join(parts)
                    parts, size = [], 0
        yield b"".join(parts)


def _short(error: Exception) -> str:
    if isinstance(error, Damaged):
        return str(error)
    return f"{type(error).__name__}: {(str(error).splitlines() or ['unreadable'])[0]}"[:200]
