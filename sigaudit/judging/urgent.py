"""What cannot wait for the weekly meeting: which verdicts stand on the daily list."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pyarrow as pa

from sigaudit.judging.cards import Card

__all__ = ["only"]

# A type that nobody has stated ranks with fire: the daily list must not leave out what may be one.
_LIFE = ("fire", "combined", "medical", "holdup", "")


def only(rows: pa.Table, cards: Mapping[str, Card], accounts: Mapping[str, Mapping[str, Any]]) -> pa.Table:
    """The verdict rows of the checks of the daily list, without findings that can wait.

    accounts: by account key, with ``ranks_as``: the system type that the account ranks as.
    """

    def waits(row: Mapping[str, Any]) -> bool:
        said = cards[row["check_id"]].daily
        if row["verdict"] != "finding" or said in ("always", "never"):
            return said == "never"
        if said == "life":
            return accounts.get(row["account_key"], {}).get("ranks_as", "") not in _LIFE
        return said != "aggravated" or not row["aggravated"]

    names = [name for name in ("check_id", "account_key", "verdict", "aggravated") if name in rows.column_names]
    kept = [not waits({"aggravated": 0, **row}) for row in rows.select(names).to_pylist()]
    return rows.filter(pa.array(kept, pa.bool_()))
