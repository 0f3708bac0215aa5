"""The code table on a connection: what ``queries/events`` joins the signals with."""

from __future__ import annotations

import csv
import hashlib
from typing import Any

import pyarrow as pa
import pyarrow.csv

from sigaudit.store import shipped

FILE = "contact_id.csv"


def load(con: Any) -> None:
    """The table ``codes`` on a connection: every column text, empty where the file is empty."""
    path = shipped.data() / FILE
    names = path.open(encoding="utf-8").readline().strip().split(",")
    options = pyarrow.csv.ConvertOptions(
        column_types={name: pa.string() for name in names},
        strings_can_be_null=False,
        quoted_strings_can_be_null=False,
    )
    con.register("codes_now", pyarrow.csv.read_csv(path, convert_options=options))
    con.execute("create or replace temp table codes as select * from codes_now")
    con.unregister("codes_now")


def fingerprint() -> str:
    """Changes whenever the code table does."""
    return hashlib.sha256((shipped.data() / FILE).read_bytes()).hexdigest()


def rows() -> list[dict[str, str]]:
    """The code table as plain rows."""
    with (shipped.data() / FILE).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))
