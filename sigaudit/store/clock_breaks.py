"""Breaks in the order of time: where a receiver's clock stepped back inside one source, as the store keeps them.

A break is a fact of one source alone: the two lines of one receiver between which the time goes back. What it is
worth (marks, or a file that is in no order of time at all) is decided by ``judged``, over the breaks known at an
instant, so that no audit sees later lines.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sigaudit.store.catalog import Catalog

__all__ = ["MOST", "ClockBreak", "judged", "known", "put", "read", "step_words"]

# House rules: more breaks than this, or more than a few and more than one per so many lines, is no clock.
MOST = 20
_FEW, _LINES_PER_BREAK = 3, 200

_TABLES = (
    "create table if not exists source_breaks (source_id integer not null, receiver text not null,"
    " line_no integer not null, before_utc text not null, after_utc text not null, lines integer not null,"
    " primary key (source_id, receiver, line_no))",
    "create table if not exists source_breaks_known (source_id integer primary key)",
)


@dataclass(frozen=True)
class ClockBreak:
    """The receiver's line ``line_no`` says ``after_utc`` though the one before it said ``before_utc``.

    before: in the direction in which the file runs. lines: which of the receiver's lines it is, from 1 [lines].
    """

    source_id: int
    receiver: str
    line_no: int
    before_utc: datetime
    after_utc: datetime
    lines: int

    @property
    def step_s(self) -> float:
        """How far the clock went back [s]."""
        return (self.before_utc - self.after_utc).total_seconds()


def put(con: sqlite3.Connection, source_id: int, breaks: Iterable[ClockBreak]) -> None:
    """Inside a commit: replaces what is known of a source's breaks."""
    for statement in _TABLES:
        con.execute(statement)
    con.execute("delete from source_breaks where source_id = ?", (source_id,))
    con.executemany(
        "insert into source_breaks values (?, ?, ?, ?, ?, ?)",
        [(source_id, b.receiver, b.line_no, b.before_utc.isoformat(" "), b.after_utc.isoformat(" "), b.lines)
         for b in breaks],
    )  # fmt: skip
    con.execute("insert or replace into source_breaks_known values (?)", (source_id,))


def read(catalog: Catalog) -> list[ClockBreak]:
    """Every break held, by source, receiver and place; none in a store made before breaks were looked for."""
    if not _made(catalog):
        return []
    with catalog.connection() as con:
        found = con.execute("select * from source_breaks order by source_id, receiver, lines")
        return [
            ClockBreak(
                row["source_id"], row["receiver"], row["line_no"], datetime.fromisoformat(row["before_utc"]),
                datetime.fromisoformat(row["after_utc"]), row["lines"],
            )
            for row in found
        ]  # fmt: skip


def known(catalog: Catalog) -> set[int]:
    """Sources whose breaks were looked for."""
    if not _made(catalog):
        return set()
    with catalog.connection() as con:
        return {row[0] for row in con.execute("select source_id from source_breaks_known")}


def judged(
    breaks: Iterable[ClockBreak], as_of_utc: datetime | None = None
) -> tuple[list[ClockBreak], list[tuple[int, str]]]:
    """(breaks that tell of a clock, (source, receiver) pairs whose lines are not in order of time).

    as_of_utc: only what was written before that instant counts; None = everything. House rule: more than
    ``MOST`` breaks of one receiver, or more than 3 and more than one per 200 of its lines up to the last of
    them, tell of a file sorted by something else, and nothing of the clock.
    """
    by_receiver: dict[tuple[int, str], list[ClockBreak]] = defaultdict(list)
    for one in breaks:
        if as_of_utc is None or max(one.before_utc, one.after_utc) < as_of_utc:
            by_receiver[one.source_id, one.receiver].append(one)
    marks: list[ClockBreak] = []
    unordered: list[tuple[int, str]] = []
    for key, found in sorted(by_receiver.items()):
        n = len(found)
        if n > MOST or (n > _FEW and n * _LINES_PER_BREAK > max(one.lines for one in found)):
            unordered.append(key)
        else:
            marks += found
    return marks, unordered


def step_words(step_s: float) -> str:
    """A step as a person says it: ``1 h 12 min``, ``6 min``, ``3 d 2 h``."""
    minutes = round(step_s / 60)
    days, hours, rest = minutes // 1440, minutes // 60 % 24, minutes % 60
    parts = [(days, "d"), (hours, "h"), (rest if not days else 0, "min")]
    return " ".join(f"{n} {unit}" for n, unit in parts if n)


def _made(catalog: Catalog) -> bool:
    with catalog.connection() as con:
        found = con.execute("select 1 from sqlite_master where name = 'source_breaks_known'").fetchone()
        return found is not None
