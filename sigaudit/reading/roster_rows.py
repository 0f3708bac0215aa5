"""Sheets become rows of checked values; each fault keeps its row, column and value."""

from __future__ import annotations

from dataclasses import dataclass, field

from sigaudit.reading.roster_columns import ACCOUNT_COLUMNS, SHEET_COLUMNS, CellFault, Value
from sigaudit.reading.roster_sheets import Sheet
from sigaudit.settings import Settings, did_you_mean

AS_NUMBER = "account stored as a number: leading zeros may be lost; format the column as text"


@dataclass
class Row:
    """One row of a sheet.

    values: by column name, for every column the sheet may have (its empty value where the cell is
    missing or at fault); cells: as written; extra: unknown columns; key: the account key once found.
    """

    number: int
    values: dict[str, Value]
    cells: dict[str, str]
    extra: dict[str, str] = field(default_factory=dict)
    key: str = ""

    def text(self, column: str) -> str:
        value = self.values.get(column)
        return value if isinstance(value, str) else ""


def rows_of(sheet: Sheet, settings: Settings) -> list[Row]:
    """Rows of a sheet; what is wrong with single cells is added to the sheet's faults."""
    columns = SHEET_COLUMNS[sheet.name]
    for column in columns.values():
        if column.required and sheet.columns and column.name not in sheet.columns:
            unknown = [name for name in sheet.columns if name and name not in columns]
            hint = did_you_mean(column.name, unknown)
            sheet.fault(1, column.name, "", f"expected this column, it is required{hint}")
    rows: list[Row] = []
    for number, written in sheet.rows:
        cells = dict(zip(sheet.columns, written, strict=True))
        row = Row(number, {name: column.empty for name, column in columns.items()}, cells)
        for name, cell in cells.items():
            if name in columns:
                _read_cell(sheet, row, name, cell, settings)
            elif name:
                row.extra[name] = cell
        rows.append(row)
    return rows


def _read_cell(sheet: Sheet, row: Row, name: str, cell: str, settings: Settings) -> None:
    column = SHEET_COLUMNS[sheet.name][name]
    if not cell:
        if column.required:
            sheet.fault(row.number, name, cell, "expected a value, it is required")
        return
    if name in ACCOUNT_COLUMNS and (row.number, name) in sheet.numbers:
        sheet.fault(row.number, name, cell, AS_NUMBER)
    try:
        row.values[name] = column.read(cell, settings)
    except CellFault as fault:
        sheet.fault(row.number, name, cell, str(fault))


def unknown_columns(sheet: Sheet) -> tuple[str, ...]:
    """Columns of a sheet that sigaudit does not know, in their order."""
    return tuple(name for name in sheet.columns if name and name not in SHEET_COLUMNS[sheet.name])
