"""The judging desk: one connection, the window, and the queries that run on it.

Every query is a file under ``queries/``; only ``$as_of``, ``$from`` and ``$until`` are ever bound.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import pyarrow as pa

from sigaudit.store.shipped import query

_PARAM = re.compile(r"\$(as_of|from|until)\b")
_COMMENT = re.compile(r"--[^\n]*")


@dataclass(frozen=True)
class Window:
    """The audited span [from_utc, until_utc) and the instant it speaks for, all naive UTC."""

    from_utc: datetime
    until_utc: datetime
    as_of_utc: datetime

    def bound(self, sql: str) -> dict[str, datetime]:
        """The parameters that a query names; the engine refuses surplus ones."""
        values = {"as_of": self.as_of_utc, "from": self.from_utc, "until": self.until_utc}
        return {name: values[name] for name in set(_PARAM.findall(_COMMENT.sub("", sql)))}


@dataclass
class Desk:
    """A connection with the views of one audit on it."""

    con: Any
    window: Window
    # Names of further measures, worked out range by range after the others.
    also: tuple[str, ...] = ()
    # What stands on the connection, table or view by name; nothing else makes or drops what a desk works with.
    _kinds: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._kinds = dict(
            self.con.execute(
                "select table_name, 'table' from duckdb_tables() where temporary"
                " union all select view_name, 'view' from duckdb_views() where temporary"
            ).fetchall()
        )

    def run(self, sql: str) -> pa.Table:
        """Result of one SELECT as an Arrow table."""
        found: pa.Table = self.con.sql(sql, params=self.window.bound(sql)).to_arrow_table()
        return found

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """Result of one SELECT as tuples."""
        found: list[tuple[Any, ...]] = self.con.execute(sql, self.window.bound(sql)).fetchall()
        return found

    def make(self, table: str, sql: str) -> None:
        """``table`` anew from a SELECT that may read its predecessor's sources, not itself."""
        self.con.execute(f"create or replace temp table making_now as {sql}", self.window.bound(sql))
        self._renamed("making_now", table)

    def make_query(self, name: str) -> str:
        """A shipped query's result as a table named as its file, without the order number."""
        table = re.sub(r"^\d+_", "", name.rsplit("/", 1)[-1])
        self.make(table, query(name))
        return table

    def put(self, table: str, rows: pa.Table) -> None:
        """An Arrow table as an engine table."""
        self.con.register("put_now", rows)
        self.make(table, "select * from put_now")
        self.con.unregister("put_now")

    def view(self, name: str, sql: str) -> None:
        """A view under a usual name, in place of what stood there."""
        self.drop([name])
        self.con.execute(f"create temp view {_name(name)} as {sql}")
        self._kinds[name] = "view"

    def keep(self, table: str, into: str) -> None:
        """Moves a range's rows to the station-wide table of the same columns; ``table`` is gone then."""
        if into in self._kinds:
            self.con.execute(f"insert into {_name(into)} select * from {_name(table)}")
            self.drop([table])
        else:
            self._renamed(table, into)
            self._kinds.pop(table)

    def drop(self, names: Iterable[str]) -> None:
        """Removes tables and views of these names, if there are any."""
        for name in names:
            kind = self._kinds.pop(name, "")
            if kind:
                self.con.execute(f"drop {kind} {_name(name)}")

    def _renamed(self, table: str, name: str) -> None:
        self.drop([name])
        self.con.execute(f"alter table {_name(table)} rename to {_name(name)}")
        self._kinds[name] = "table"


def _name(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
