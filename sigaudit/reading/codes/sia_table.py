"""The table of SIA two-letter events (``data/sia_events.csv``): meaning, what the address is, what restores what.

``address_kind`` is the kind the standard names (zone, user, area, door, expander, line ...); ``data_kind``
folds it to zone, user or none. CG is taken as area and CJ as user: the published table says so, one
copy says the reverse. ``cid_qualifier`` and ``cid_code`` are the nearest Contact ID event;
``mapping_known`` says whether that was ``seen`` in an independent table or is from ``memory``. The mapping
is many-to-one and loses detail: use it for grouping, never for identity. ``restored_by`` and ``restores``
are inferred from the names of the codes (xA by xH or xR, xT by xJ or xR, xB by xU and the pairs that
do not follow the pattern).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

from sigaudit.store import shipped

FILE = "sia_events.csv"


@dataclass(frozen=True, slots=True)
class SiaCode:
    """One row of the table; ``restored_by`` and ``restores`` are codes, the rest is text as it stands there."""

    code: str
    meaning: str
    data_kind: str
    address_kind: str
    cid_qualifier: str
    cid_code: str
    restored_by: tuple[str, ...]
    restores: tuple[str, ...]
    source: str
    known: str
    mapping_known: str


class Canonical(NamedTuple):
    """Nearest Contact ID event: ``qualifier`` E, R or '', ``code`` three digits or '', ``known`` seen, memory or ''."""

    qualifier: str
    code: str
    known: str


@cache
def load() -> dict[str, SiaCode]:
    """Every code of the standard by its two letters, in the order of the letters."""
    with (shipped.data() / FILE).open(encoding="utf-8", newline="") as table:
        rows = [
            SiaCode(
                code=row["code"],
                meaning=row["meaning"],
                data_kind=row["data_kind"],
                address_kind=row["address_kind"],
                cid_qualifier=row["cid_qualifier"],
                cid_code=row["cid_code"],
                restored_by=_codes(row["restored_by"]),
                restores=_codes(row["restores"]),
                source=row["source"],
                known=row["known"],
                mapping_known=row["mapping_known"],
            )
            for row in csv.DictReader(table)
        ]
    return {row.code: row for row in rows}


def canonical(code: str) -> Canonical:
    """The nearest Contact ID event of a two-letter code; all empty for a code the standard does not have.

    A code without a mapping has an empty ``code`` and ``known``; its ``qualifier`` is R where it restores
    something and E elsewhere. Closings are R and openings E, as Contact ID has it.
    """
    row = load().get(code)
    if row is None:
        return Canonical("", "", "")
    qualifier = row.cid_qualifier or ("R" if row.restores else "E")
    return Canonical(qualifier, row.cid_code, row.mapping_known)


def closes(restore_code: str) -> tuple[str, ...]:
    """The codes whose open condition this one ends, in alphabetical order; empty where it ends none.

    One xR ends both the alarm and the trouble of its kind. Pair by this and not by the Contact ID
    mapping: HR maps to the restore of 376, yet ends HA, which maps to 122.
    """
    row = load().get(restore_code)
    return row.restores if row else ()


def _codes(cell: str) -> tuple[str, ...]:
    return tuple(cell.split("|")) if cell else ()
