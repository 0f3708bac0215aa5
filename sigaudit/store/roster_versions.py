"""What makes one roster another version, and what loads after loads add up to. No files here."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import zoneinfo
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pyarrow as pa

from sigaudit.store.roster_tables import VERSIONED, RosterFile, RosterTables, empty

# on_test rows of one account and start are one span.
_SPAN = ("account_key", "from_utc")


@dataclass(frozen=True)
class RosterMeta:
    """A version of the roster.

    version: 1, 2, ... in order of loading; valid_from: local day, None for the first, which counts
    from the beginning of time; valid_from_utc: that day's midnight in the zone the roster was read
    in, naive UTC; loaded_on: day of loading; digest: SHA-256 of the content a version replaces.
    """

    version: int
    valid_from: dt.date | None
    valid_from_utc: dt.datetime | None
    loaded_on: dt.date
    digest: str
    files: tuple[RosterFile, ...]


def digest(tables: RosterTables) -> str:
    """SHA-256 hex of the tables a version replaces: their columns and rows, in order."""
    content = hashlib.sha256()
    for name in VERSIONED:
        table = tables[name]
        content.update(json.dumps([name, table.schema.names]).encode("utf-8"))
        for row in table.to_pylist():
            content.update(json.dumps(list(row.values()), default=str).encode("utf-8"))
    return content.hexdigest()


def midnight_utc(day: dt.date, timezone: str) -> dt.datetime:
    """The instant a local day begins, naive UTC; where midnight is skipped, the first instant after it."""
    local = dt.datetime.combine(day, dt.time(), zoneinfo.ZoneInfo(timezone))
    return local.astimezone(dt.UTC).replace(tzinfo=None)


def in_force_at(versions: Iterable[RosterMeta], as_of_utc: dt.datetime) -> RosterMeta | None:
    """The version valid at an instant: of those begun by then the last to begin, then the last loaded."""
    begun = [meta for meta in versions if meta.valid_from_utc is None or meta.valid_from_utc <= as_of_utc]
    return max(begun, key=lambda meta: (meta.valid_from_utc or dt.datetime.min, meta.version), default=None)


def accumulated(name: str, loads: Sequence[pa.Table]) -> pa.Table:
    """The union of what several loads say, oldest load first; equal rows once, in a fixed order.

    A column that only some loads carry is '' in the others. An on_test span told again counts with
    the end told last, and an end once told is not forgotten: an open span would excuse for ever.
    """
    if not loads:
        return empty(name)
    joined = pa.concat_tables(loads, promote_options="default")
    texts = {field.name for field in joined.schema if pa.types.is_string(field.type)}
    kept: dict[tuple[str, ...], dict[str, object]] = {}
    for row in joined.to_pylist():
        row = {column: "" if value is None and column in texts else value for column, value in row.items()}
        identity = tuple(map(str, [row[column] for column in _SPAN] if name == "on_test" else row.values()))
        earlier = kept.get(identity)
        if earlier is None or name != "on_test" or row["until_utc"] is not None:
            kept[identity] = row
    rows = [kept[identity] for identity in sorted(kept)]
    return pa.Table.from_pylist(rows, schema=joined.schema)


def as_known_at(name: str, table: pa.Table, as_of_utc: dt.datetime) -> pa.Table:
    """An accumulating table without what lies after an instant, so that no audit sees the future.

    Spans that begin later are left out and ends that come later are open; visits are left out by
    their day, compared with the instant's UTC day.
    """
    rows = table.to_pylist()
    if name == "on_test":
        rows = [row for row in rows if row["from_utc"] < as_of_utc]
        for row in rows:
            if row["until_utc"] is not None and row["until_utc"] > as_of_utc:
                row["until_utc"] = None
    else:
        rows = [row for row in rows if row["visited_on"] <= as_of_utc.date()]
    return pa.Table.from_pylist(rows, schema=table.schema)
