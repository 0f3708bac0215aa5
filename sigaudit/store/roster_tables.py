"""The roster as tables: their columns, and what a loaded roster consists of.

All text columns are never NULL ('' = not known); dates, spans and instants are NULL where not
known. Columns that the roster carries beyond these follow as text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pyarrow as pa

RosterTables = dict[str, pa.Table]

_TEXT = pa.string()
_DATE = pa.date32()
_INSTANT = pa.timestamp("us")  # naive, UTC


def _schema(texts: str, **others: pa.DataType) -> pa.Schema:
    """Columns in the order of ``texts``; those named in ``others`` have that type."""
    return pa.schema([(name, others.get(name, _TEXT)) for name in texts.split()])


SCHEMAS: Mapping[str, pa.Schema] = {
    # one row per account
    "accounts": _schema(
        "account_key receiver_group account site customer customer_email dealer installer system_type status "
        "installed_on cancelled_on area exchange address timezone transmitter panel template panel_account "
        "has_contacts panel_test_s sends_restores sends_openings language send_report edition monitored "
        "roster_row",
        installed_on=_DATE,
        cancelled_on=_DATE,
        panel_test_s=pa.float64(),
        monitored=pa.bool_(),
        roster_row=pa.int32(),
    ),
    # one row per account and path
    "paths": _schema(
        "account_key path kind role network receiver line reports_as_key test_s supervision_s checks_in",
        test_s=pa.float64(),
        supervision_s=pa.float64(),
    ),
    # one row per account, partition and zone
    "zones": _schema("account_key partition zone kind label"),
    # one row per span; until_utc NULL = still
    "on_test": _schema("account_key from_utc until_utc reason", from_utc=_INSTANT, until_utc=_INSTANT),
    # one row per dealer
    "dealers": _schema("dealer name email deliver_to"),
    # one row per cause found on a visit
    "visits": _schema("account_key visited_on technician found fixed note", visited_on=_DATE),
}

# What a version replaces, and what grows from load to load.
VERSIONED = ("accounts", "paths", "zones", "dealers")
ACCUMULATING = ("on_test", "visits")


@dataclass(frozen=True)
class RosterFile:
    """A file the roster was read from: its name and the SHA-256 of its bytes."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Roster:
    """A roster without faults.

    tables: one per name in ``SCHEMAS``; files: what was read; timezone: the station's zone it was
    read in; unknown_columns: table -> columns kept as text; notes: sentences worth telling.
    """

    tables: RosterTables
    files: tuple[RosterFile, ...]
    timezone: str
    unknown_columns: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...] = ()


def empty(name: str) -> pa.Table:
    """The table ``name`` without rows."""
    return SCHEMAS[name].empty_table()
