"""Rules between the cells and rows of a roster: nothing twice, no end before its beginning."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable

from sigaudit.reading.roster_rows import Row
from sigaudit.reading.roster_sheets import Sheet
from sigaudit.settings import PATH_KINDS, Settings

# Zones of these kinds are counted apart: user 1, a transmitter's own zone 1 and the panel's zone 1 differ.
_COUNTED_APART = ("user", "communicator", "contact_input")
_DIGITS = re.compile(r"[-_ ]?[0-9]+")


def check(sheets: dict[str, Sheet], rows: dict[str, list[Row]]) -> None:
    """Adds a fault for every row that contradicts itself or an earlier row. Keys are resolved before."""
    _once(sheets, rows, "paths", "path", lambda row: (row.key, row.text("path")))
    _once(sheets, rows, "zones", "zone", _zone)
    _once(sheets, rows, "dealers", "dealer", lambda row: (row.text("dealer"),))
    _in_order(sheets, rows, "accounts", "installed_on", "cancelled_on", same_allowed=True)
    _in_order(sheets, rows, "on_test", "from", "to", same_allowed=False)


def _zone(row: Row) -> tuple[str, ...]:
    kind = row.text("kind")
    return row.key, row.text("partition"), row.text("zone"), kind if kind in _COUNTED_APART else ""


def _once(
    sheets: dict[str, Sheet],
    rows: dict[str, list[Row]],
    name: str,
    column: str,
    identity: Callable[[Row], tuple[str, ...]],
) -> None:
    seen: dict[tuple[str, ...], int] = {}
    for row in rows.get(name, []):
        if not row.text(column) or (name != "dealers" and not row.key):
            continue
        earlier = seen.setdefault(identity(row), row.number)
        if earlier != row.number:
            sheets[name].fault(
                row.number,
                column,
                row.text(column),
                f"expected each {column} once; it stands in rows {earlier} and {row.number}",
            )


def _in_order(
    sheets: dict[str, Sheet],
    rows: dict[str, list[Row]],
    name: str,
    first: str,
    last: str,
    *,
    same_allowed: bool,
) -> None:
    for row in rows.get(name, []):
        start, end = row.values[first], row.values[last]
        if not isinstance(start, dt.date) or not isinstance(end, dt.date):
            continue
        if end < start or (end == start and not same_allowed):
            cell = row.cells.get(last, "")
            sheets[name].fault(row.number, last, cell, f"expected {last} after {first}: {row.cells.get(first, '')}")


def path_kind(path: Row, settings: Settings) -> str:
    """Kind of a path: as given, else its id without digits, else that of its receiver; '' = not known."""
    if path.text("kind"):
        return path.text("kind")
    name = _DIGITS.sub("", path.text("path")).lower()
    if name in PATH_KINDS:
        return name
    return settings.path_kind_of(path.text("receiver"), path.text("line")) if path.text("receiver") else ""
