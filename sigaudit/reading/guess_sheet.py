"""A workbook understood: which worksheet holds the log, where its header stands, which column is which.

The content is the CSV text of its rows, each behind its address (``workbook_rows``).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import replace

from sigaudit.reading.guess_cut import MOST_ROWS, Cut
from sigaudit.reading.guess_delimited import Draft, Sheet, understood
from sigaudit.reading.layout_files import SHEET_HEADER

__all__ = ["sheet_of"]

_LEAST_FIELDS = 3  # time, account, event


def sheet_of(text: str) -> Draft | str:
    """The draft for the first worksheet with a log in it; else what is missing, ``header`` where there is none."""
    sheets: dict[str, list[tuple[int, list[str]]]] = {}
    for number, row in enumerate(csv.reader(text.splitlines(keepends=True)), start=1):
        name, _, place = row[0].rpartition("!") if row else ("", "", "")
        if place.isdigit() and len(rows := sheets.setdefault(name, [])) < MOST_ROWS:
            rows.append((number, row[1:]))
    found: list[tuple[str, Draft]] = []
    missing = ""
    for name, rows in sheets.items():
        draft = _read(rows)
        if isinstance(draft, Draft):
            found.append((name, draft))
        elif draft != "time" or not missing:
            missing = draft
    if not found:
        return missing or "time"
    name, draft = found[0]
    assert draft.sheet is not None
    first = next(iter(sheets)) == name
    more = list(draft.more)
    if len(found) > 1:
        others = ", ".join(repr(other) for other, _ in found[1:])
        more.append(f"The worksheets {name!r} and {others} hold signals: only the first is read; export them apart.")
    elif not first:
        more.append(f"The log is taken from the worksheet {name!r}; the others are passed over.")
    return replace(draft, more=tuple(more), sheet=replace(draft.sheet, name="" if first else name))


def _read(rows: Sequence[tuple[int, list[str]]]) -> Draft | str:
    missing = "time"
    for at, (number, cells) in enumerate(rows[:SHEET_HEADER]):
        filled = [cell for cell in cells if cell.strip()]
        if len(filled) < _LEAST_FIELDS:
            continue
        below = [row for _, row in rows[at + 1 :] if row != cells]
        some = [tuple(cell.strip() for cell in row) for row in below if sum(map(bool, row)) >= _LEAST_FIELDS]
        if not some:
            return missing
        share = len(some) / len(below)
        cut = Cut(",", '"', "", _line(cells), tuple(cells), tuple(some), share, False, True)
        draft = understood(cut, sparse=True)
        if isinstance(draft, Draft) and draft.header:
            return _with_sheet(draft, number)
        # Further down a header would stand below data.
        missing = "header" if isinstance(draft, Draft) else draft
        if isinstance(draft, Draft):
            return missing
    return missing


def _with_sheet(draft: Draft, number: int) -> Draft:
    """The draft with what only a worksheet has: noughts that a number has lost, a header far down."""
    accounts = [row[draft.roles.fields["account"]] for row in draft.cut.rows]
    widths = {len(value) for value in accounts if re.fullmatch("[0-9]+", value)}
    width, more = 0, list(draft.more)
    if len(widths) > 1 and all(re.fullmatch("[0-9]*", value) for value in accounts):
        width = max(max(widths), 4)
        more.append(
            f"Account numbers have {min(widths)} to {max(widths)} digits, as where a spreadsheet has lost noughts: "
            f"account.width = {width} puts them back."
        )
    within = number + SHEET_HEADER if number > SHEET_HEADER else 0
    return replace(draft, more=tuple(more), sheet=Sheet("", within, width))


def _line(cells: Sequence[str]) -> str:
    """The cells as one line of CSV."""
    return ",".join('"' + cell.replace('"', '""') + '"' if re.search('[,"\r\n]', cell) else cell for cell in cells)
