"""The code tables on a connection: what ``queries/events`` and ``queries/facts`` join the signals with."""

from __future__ import annotations

import csv
import hashlib
from functools import cache
from typing import Any

import pyarrow as pa
import pyarrow.csv

from sigaudit.store import shipped

FILE = "contact_id.csv"
SIA_FILE = "sia_events.csv"
_CLOSES = ("restore_code", "code", "family", "code_group", "event_class")


def load(con: Any) -> None:
    """The tables ``codes`` and ``sia_closes`` on a connection; every column text, empty where the file is empty.

    sia_closes: restore_code (two letters) and a Contact ID code, with its family, group and class, that it ends.
    """
    path = shipped.data() / FILE
    names = path.open(encoding="utf-8").readline().strip().split(",")
    options = pyarrow.csv.ConvertOptions(
        column_types={name: pa.string() for name in names},
        strings_can_be_null=False,
        quoted_strings_can_be_null=False,
    )
    for table, found in (("codes", pyarrow.csv.read_csv(path, convert_options=options)), ("sia_closes", _closes())):
        con.register("codes_now", found)
        con.execute(f"create or replace temp table {table} as select * from codes_now")
        con.unregister("codes_now")


@cache
def _closes() -> pa.Table:
    """What each two-letter restore ends, once per family. Source of the pairs: ``sia_events.csv``."""
    known = {row["code"]: row for row in rows()}
    with (shipped.data() / SIA_FILE).open(encoding="utf-8", newline="") as lines:
        sia = {row["code"]: row for row in csv.DictReader(lines)}
    found: dict[tuple[str, str], tuple[str, ...]] = {}
    for letters, row in sia.items():
        for ended in filter(None, row["restores"].split("|")):
            one = known.get(sia[ended]["cid_code"])
            if one is not None and one["restorable"] == "yes":
                key = (letters, one["family"])
                found.setdefault(key, (letters, one["code"], one["family"], one["code_group"], one["class"]))
    columns = zip(*(found[key] for key in sorted(found)), strict=True)
    return pa.table({name: pa.array(column, pa.string()) for name, column in zip(_CLOSES, columns, strict=True)})


def fingerprint() -> str:
    """Changes whenever a code table does."""
    content = hashlib.sha256((shipped.data() / FILE).read_bytes())
    content.update((shipped.data() / SIA_FILE).read_bytes())
    return content.hexdigest()


def rows() -> list[dict[str, str]]:
    """The code table as plain rows."""
    with (shipped.data() / FILE).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))
