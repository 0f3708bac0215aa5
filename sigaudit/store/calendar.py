"""Offsets of a time zone from UTC as plain rows, so that queries need no zone arithmetic.

Source: the IANA time zone database as Python's zoneinfo reads it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pyarrow as pa

_DAY = timedelta(days=1)


def spans(zone: ZoneInfo, from_utc: datetime, until_utc: datetime) -> list[tuple[datetime, datetime, int]]:
    """(from_utc, until_utc, offset [s]) in order, gapless over [from_utc, until_utc); naive UTC, whole seconds."""
    rows = []
    start, offset = from_utc, _offset(zone, from_utc)
    at = from_utc
    while at < until_utc:
        after = min(at + _DAY, until_utc)
        changed = _offset(zone, after)
        if changed != offset:
            edge = _change(zone, at, after)
            rows.append((start, edge, offset))
            start, offset = edge, changed
        at = after
    if start < until_utc:
        rows.append((start, until_utc, offset))
    return rows


def table(zone: ZoneInfo, from_utc: datetime, until_utc: datetime) -> pa.Table:
    """The spans as a table: zone, from_utc, until_utc, offset_s."""
    rows = spans(zone, from_utc, until_utc)
    return pa.table(
        {
            "zone": pa.array([zone.key] * len(rows), pa.string()),
            "from_utc": pa.array([r[0] for r in rows], pa.timestamp("us")),
            "until_utc": pa.array([r[1] for r in rows], pa.timestamp("us")),
            "offset_s": pa.array([r[2] for r in rows], pa.int64()),
        }
    )


def _offset(zone: ZoneInfo, at_utc: datetime) -> int:
    found = at_utc.replace(tzinfo=UTC).astimezone(zone).utcoffset()
    return int(found.total_seconds()) if found is not None else 0


def _change(zone: ZoneInfo, before: datetime, after: datetime) -> datetime:
    """The second at which the offset becomes that of ``after``."""
    old = _offset(zone, before)
    low, high = 0, int((after - before).total_seconds())
    while high - low > 1:
        middle = (low + high) // 2
        if _offset(zone, before + timedelta(seconds=middle)) == old:
            low = middle
        else:
            high = middle
    return before + timedelta(seconds=high)
