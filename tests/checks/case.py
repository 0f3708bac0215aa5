"""A check's fixture: a small log, a small roster, and what the check must say of them.

A case folder holds ``events.csv`` (columns of the plain layout; ``every`` and ``times`` repeat a row),
``expect.toml`` (window and rows; ``minutes_only``: the log writes no seconds) and, where wanted,
``roster/``, ``coverage.csv`` (holes: receiver, line, from, until, kind; default: everything was heard)
and ``settings.toml``. Facts and measures run for real; only log coverage is given, so that a case of a
few lines need not look like a busy station.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa

from sigaudit.intervals import interval_seconds
from sigaudit.judging import judge as judging
from sigaudit.judging.cards import Card
from sigaudit.judging.clocks import Clocks
from sigaudit.judging.coverage import Coverage, Hole
from sigaudit.judging.desk import Desk, Window
from sigaudit.judging.silences import Series
from sigaudit.reading import roster
from sigaudit.settings import Settings, parse
from sigaudit.store import code_table, engine_duckdb
from sigaudit.store.facts import FACTS, PANEL_TIMES
from sigaudit.store.shipped import query

SETTINGS = '[station]\nname = "Case"\ntimezone = "America/New_York"\n'
EPOCH = datetime(1970, 1, 1)


@dataclass(frozen=True)
class Case:
    folder: Path

    @property
    def expected(self) -> dict[str, Any]:
        return tomllib.loads((self.folder / "expect.toml").read_text(encoding="utf-8"))

    def settings(self) -> Settings:
        own = self.folder / "settings.toml"
        return parse(own.read_text(encoding="utf-8") if own.exists() else SETTINGS, self.folder)

    def window(self, zone: ZoneInfo) -> Window:
        given = self.expected
        from_utc, until_utc = (_utc(given[name], zone) for name in ("from", "until"))
        return Window(from_utc, until_utc, _utc(given.get("as_of", given["until"]), zone))

    def run(self, card: Card, clocks: Clocks | None = None) -> list[dict[str, Any]]:
        """Rows of the check over this case, as the contract's columns; clocks: what is known of the receivers'."""
        settings = self.settings()
        window = self.window(settings.zone)
        con = engine_duckdb.connect(threads=1)
        desk = Desk(con, window)
        signals = _signals(self.folder / "events.csv", settings)
        desk.put("signals", signals)
        code_table.load(con)
        desk.con.execute(f"delete from signals where received_utc >= timestamp '{window.as_of_utc}'")
        desk.make("events", query("events/events"))
        desk.make("panel_times", PANEL_TIMES.format(signals="signals"))
        for name in FACTS:
            desk.make(f"all_{name}", query(f"facts/{name}"))
        if self.expected.get("minutes_only"):
            heard = sorted(set(zip(signals["receiver"].to_pylist(), signals["line"].to_pylist(), strict=True)))
            clocks = Clocks(coarse=[(*line, EPOCH, window.as_of_utc, 60) for line in heard])
        tables = roster.read(self.folder / "roster", settings).tables
        covered = _coverage(self.folder / "coverage.csv", signals, window, settings.zone)
        judged = judging.judge(
            desk, tables, {card.id: card, **_limit_cards(card)}, settings, [], ready=covered, clocks=clocks
        )
        return [row for row in judged.rows.to_pylist() if row["check_id"] == card.id]


def _limit_cards(card: Card) -> dict[str, Card]:
    """Measures take the grace of a test from ``test_overdue``, whichever check is under test."""
    from sigaudit.judging.cards import read
    from sigaudit.store.shipped import queries

    return {} if card.id == "test_overdue" else {"test_overdue": read(queries() / "checks" / "test_overdue.toml")}


def _utc(text: str, zone: ZoneInfo) -> datetime:
    at = datetime.fromisoformat(text)
    at = at if at.tzinfo else at.replace(tzinfo=zone)
    return at.astimezone(UTC).replace(tzinfo=None)


def _signals(path: Path, settings: Settings) -> pa.Table:
    rows: list[dict[str, Any]] = []
    with path.open(encoding="utf-8", newline="") as lines:
        for number, row in enumerate(csv.DictReader(lines), start=2):
            for i in range(int(row.get("times") or 1)):
                rows.append(_signal(row, i, number, settings))
    rows.sort(key=lambda row: row["received_utc"])
    for i, row in enumerate(rows, start=1):
        row["line_no"] = i
    schema = pa.schema(
        [(n, pa.timestamp("us") if n == "received_utc" else pa.int64() if n in ("source_id", "line_no", "part")
          else pa.bool_() if n == "edge_doubt" else pa.string()) for n in rows[0]]
    )  # fmt: skip
    return pa.Table.from_pylist(rows, schema=schema)


def _signal(row: dict[str, str], i: int, number: int, settings: Settings) -> dict[str, Any]:
    at = _utc(row["received_at"], settings.zone) + i * _step(row.get("every") or "1s")
    account, event = row.get("account", ""), row.get("event", "")
    group = settings.group_of(row.get("receiver", ""), row.get("line", ""))
    own = account in ("", *settings.own_accounts)
    zone, partition = row.get("zone", ""), row.get("partition", "")
    coded = len(event) == 4 and event[0] in "ERP"
    return {
        "account_key": f"{group}/{'' if own else account}", "receiver_group": group, "account": account,
        "received_utc": at, "received_wall": row["received_at"], "time_doubt": row.get("time_doubt") or "exact",
        "edge_doubt": False, "receiver": row.get("receiver", ""), "line": row.get("line", ""), "event_raw": event,
        "qualifier": event[0] if coded else "", "code": event[1:] if coded else "",
        "format": row.get("format") or "contact_id", "partition": partition.lstrip("0") or partition[:1],
        "zone": zone.zfill(3) if zone else "", "path": row.get("path", ""),
        "panel_time": row.get("panel_time") or "", "sequence": row.get("sequence") or "", "part": 1,
        "origin": "receiver" if own else row.get("origin", ""), "source_id": 1, "line_no": number,
    }  # fmt: skip


def _step(text: str) -> timedelta:
    return timedelta(seconds=interval_seconds(text))


def _coverage(path: Path, signals: pa.Table, window: Window, zone: ZoneInfo) -> Coverage:
    lines = sorted(set(zip(signals["receiver"].to_pylist(), signals["line"].to_pylist(), strict=True)))
    first = min(signals["received_utc"].to_pylist())
    spans = {key: [((first - EPOCH).total_seconds(), (window.as_of_utc - EPOCH).total_seconds())] for key in lines}
    holes = []
    if path.exists():
        with path.open(encoding="utf-8", newline="") as rows:
            for i, row in enumerate(csv.DictReader(rows)):
                a, b = ((_utc(row[name], zone) - EPOCH).total_seconds() for name in ("from", "until"))
                holes.append(Hole(row["receiver"], row["line"], a, b, row["kind"], f"I-case{i:04d}"))
    nothing = Series(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))
    return Coverage(holes, [], spans, dict.fromkeys(lines, nothing))
