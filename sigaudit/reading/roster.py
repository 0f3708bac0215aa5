"""A roster, read whole or refused whole with every fault in it.

Half a roster would blame sites for what the other half says, so nothing is loaded while one fault
is left.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow as pa

from sigaudit.errors import Fault, NothingToRead, RosterFaulty
from sigaudit.reading.roster_columns import MONITORED, SHEET_COLUMNS
from sigaudit.reading.roster_keys import AccountKeys
from sigaudit.reading.roster_rows import Row, rows_of, unknown_columns
from sigaudit.reading.roster_rules import check, path_kind
from sigaudit.reading.roster_sheets import Reading, no_roster, read_folder
from sigaudit.reading.roster_xlsx import read_workbook
from sigaudit.settings import Settings, nearest
from sigaudit.store.roster_tables import SCHEMAS, Roster

__all__ = ["read"]

# Columns of the tables whose name or content is not simply that of the sheet's column.
_FROM_SHEET = {
    "panel_test_s": "panel_test_interval",
    "test_s": "test_interval",
    "supervision_s": "supervision_interval",
    "from_utc": "from",
    "until_utc": "to",
}


def read(path: Path, settings: Settings) -> Roster:
    """Roster of a folder of CSV sheets or of one .xlsx, as the tables of ``SCHEMAS``.

    Spans are seconds, instants naive UTC, accounts ``group/account``; an unknown column follows its
    table as text. Raises NothingToRead (no file, no accounts), InputProblem (another kind of file),
    RosterFaulty with every fault: file, row, column, value, what was expected.
    """
    reading = _reading(path)
    rows = {name: rows_of(sheet, settings) for name, sheet in reading.sheets.items()}
    keys = AccountKeys(reading.sheets, rows, settings)
    keys.resolve()
    check(reading.sheets, rows)
    _refuse_faulty(path, reading)
    if not rows["accounts"]:
        raise NothingToRead(f"{path}: accounts holds no account", next_step="write one row per account")
    tables = {name: _table(name, reading, rows.get(name, []), keys, settings) for name in SCHEMAS}
    return Roster(
        tables=tables,
        files=tuple(reading.files),
        timezone=settings.timezone,
        unknown_columns={
            name: unknown_columns(sheet) for name, sheet in reading.sheets.items() if unknown_columns(sheet)
        },
        notes=(*reading.notes, *_column_notes(reading)),
    )


def _reading(path: Path) -> Reading:
    try:
        if path.is_dir():
            return read_folder(path)
        if not path.exists():
            raise NothingToRead(f"{path}: is not there", next_step="name a roster folder or an .xlsx")
    except OSError as error:
        raise NothingToRead(f"{path}: cannot be read: {error.strerror}", next_step="check the path") from error
    if path.suffix.lower() != ".xlsx":
        raise no_roster(path)
    return read_workbook(path)


def _refuse_faulty(path: Path, reading: Reading) -> None:
    faults: list[Fault] = list(reading.faults)
    for name in SCHEMAS:
        if name in reading.sheets:
            faults += sorted(reading.sheets[name].faults, key=lambda fault: fault.row)
    if faults:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        raise RosterFaulty(
            f"{path}: {count}, nothing was loaded; first: {faults[0]}",
            faults,
            next_step="correct the rows named and load the roster again",
        )


def _column_notes(reading: Reading) -> list[str]:
    notes = []
    for sheet in reading.sheets.values():
        for column in unknown_columns(sheet):
            near = nearest(column, set(SHEET_COLUMNS[sheet.name]) - set(sheet.columns))
            hint = f"; was {near[0]} meant?" if near else ""
            notes.append(f"{sheet.file}: column {column!r} is kept and not used{hint}")
    return notes


def _table(name: str, reading: Reading, rows: list[Row], keys: AccountKeys, settings: Settings) -> pa.Table:
    schema = SCHEMAS[name]
    records = [_record(name, row, keys, settings) for row in rows]
    arrays = [pa.array([record[field.name] for record in records], type=field.type) for field in schema]
    fields = list(schema)
    extras = unknown_columns(reading.sheets[name]) if name in reading.sheets else ()
    for column in extras:
        free = column
        while free in [field.name for field in fields]:
            free += "_as_given"
        fields.append(pa.field(free, pa.string()))
        arrays.append(pa.array([row.extra.get(column, "") for row in rows], type=pa.string()))
    return pa.table(arrays, schema=pa.schema(fields))


def _record(name: str, row: Row, keys: AccountKeys, settings: Settings) -> dict[str, Any]:
    """One row of a table of ``SCHEMAS``."""
    record: dict[str, Any] = {column: row.values.get(_FROM_SHEET.get(column, column)) for column in SCHEMAS[name].names}
    if "account_key" in record:
        record["account_key"] = row.key
    if name == "accounts":
        record["receiver_group"] = row.key.partition("/")[0]
        record["monitored"] = row.text("status") in MONITORED
        record["roster_row"] = row.number
    if name == "paths":
        record["kind"] = path_kind(row, settings)
        record["reports_as_key"] = keys.reports_as(row)
    return record
