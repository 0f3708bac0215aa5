"""Small rosters for the tests: a folder of CSV text, or a workbook of the same cells."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import openpyxl

from sigaudit.settings import Settings, parse

BERLIN = '[station]\ntimezone = "Europe/Berlin"\n'
TWO_GROUPS = BERLIN + '[receivers.groups]\n"1" = "north"\n"2" = "south"\n'


def settings(text: str = BERLIN) -> Settings:
    return parse(text, Path())


def folder(at: Path, **sheets: str | bytes) -> Path:
    """Folder with one CSV per keyword; ``at`` is made."""
    at.mkdir(parents=True, exist_ok=True)
    for name, content in sheets.items():
        data = content if isinstance(content, bytes) else content.encode("utf-8")
        (at / f"{name}.csv").write_bytes(data)
    return at


def workbook(at: Path, **sheets: str) -> Path:
    """Workbook whose cells are the texts of the CSV sheets given."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, content in sheets.items():
        sheet = book.create_sheet(name)
        for record in csv.reader(io.StringIO(content)):
            sheet.append([cell or None for cell in record])
    book.save(at)
    return at
