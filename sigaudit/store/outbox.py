"""What was handed to the mail server and what waits: one row per report and addressee, in the catalog.

A report is marked before it is handed over and again when the server has taken it. What a crash leaves marked in
between is *in doubt*: nobody knows whether it went, so it is listed and never sent again by itself.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass

from sigaudit.store.opening import Store

__all__ = ["STATES", "Letter", "held", "mark", "put"]

STATES = ("waiting", "in doubt", "sent", "refused")
_TABLE = """
create table if not exists outbox (
    key text primary key, month text not null, report text not null, dealer text not null, address text not null,
    sha256 text not null, state text not null, tries integer not null, said text not null, released_by text not null,
    released_at text not null, changed_at text not null
)
"""


@dataclass(frozen=True)
class Letter:
    """One report for one addressee. key: month, report and address; said: the server's last words."""

    key: str
    month: str
    report: str
    dealer: str
    address: str
    sha256: str
    state: str = "waiting"
    tries: int = 0
    said: str = ""
    released_by: str = ""
    released_at: str = ""
    changed_at: str = ""


def put(store: Store, letters: Iterable[Letter]) -> int:
    """Adds what is not there yet; answers how many. A report that was ever put is never put again. Raises StoreBusy."""
    added = 0

    def change(con: sqlite3.Connection) -> None:
        nonlocal added
        con.execute(_TABLE)
        for one in letters:
            row = tuple(vars(one).values())
            added += con.execute(
                f"insert into outbox values ({', '.join('?' * len(row))}) on conflict (key) do nothing", row
            ).rowcount

    with store.writing("filling the outbox", wait_s=10):
        store.commit(catalog_changes=change)
    return added


def mark(store: Store, key: str, state: str, said: str, at: str) -> None:
    """A letter's new state and the server's words; each hand-over counts as a try. Raises StoreBusy."""

    def change(con: sqlite3.Connection) -> None:
        con.execute(
            "update outbox set state = ?, said = ?, changed_at = ?, tries = tries + ? where key = ?",
            (state, said, at, int(state == "in doubt"), key),
        )

    with store.writing("writing down what the mail server said", wait_s=10):
        store.commit(catalog_changes=change)


def held(store: Store, month: str = "") -> list[Letter]:
    """Letters of a month, or of all, by report and address."""
    with store.catalog.connection() as con:
        known = con.execute("select 1 from sqlite_master where name = 'outbox'").fetchone()
        rows = con.execute("select * from outbox order by month, report, address").fetchall() if known else []
    return [Letter(**dict(row)) for row in rows if not month or row["month"] == month]
