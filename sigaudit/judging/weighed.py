"""One thing that was weighed about a finding, and the table these make."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pyarrow as pa

Key = tuple[str, str, str]  # check, account key, subject
Findings = Mapping[str, list[Mapping[str, Any]]]  # by check
Answer = tuple[list["Said"], dict[Key, datetime]]

SCHEMA = pa.schema(
    [("check_id", pa.string()), ("account_key", pa.string()), ("subject", pa.string()), ("rank_no", pa.int64()),
     ("measure", pa.string()), ("value", pa.float64()), ("low", pa.float64()), ("high", pa.float64()),
     ("words", pa.string())]
)  # fmt: skip
# A change of rate dates a finding only when chance makes one as large in fewer than one row of a hundred (house).
CLEAR = 0.01


@dataclass(frozen=True)
class Said:
    """measure: what was weighed; value, low, high: its number and limits, None where it has none."""

    check_id: str
    account_key: str
    subject: str
    rank_no: int
    measure: str
    value: float | None
    low: float | None
    high: float | None
    words: str


def key(row: Mapping[str, Any]) -> Key:
    return row["check_id"], row["account_key"], row["subject"]


def texts(rows: Iterable[tuple[str, ...]], *names: str) -> pa.Table:
    """A table of text columns."""
    listed = sorted(set(rows))
    return pa.table({n: pa.array([row[i] for row in listed], pa.string()) for i, n in enumerate(names)})
