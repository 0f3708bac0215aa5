"""A simulated station on a desk, without a store: sites and their signals in, incidents and verdicts out.

Every hour of it is held: log coverage has tests of its own.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow as pa

from sigaudit.judging import incidents, measures
from sigaudit.judging import judge as judging
from sigaudit.judging.cards import read
from sigaudit.judging.clocks import Clocks
from sigaudit.judging.coverage import Coverage, Hole
from sigaudit.judging.desk import Desk, Window
from sigaudit.judging.incidents import Incidents
from sigaudit.judging.judge import Judged
from sigaudit.judging.silences import Series
from sigaudit.reading import roster
from sigaudit.settings import Settings, parse
from sigaudit.store import code_table, engine_duckdb
from sigaudit.store.facts import FACTS, PANEL_TIMES
from sigaudit.store.shipped import queries, query
from tests.simulation import clock
from tests.simulation.archetypes import population
from tests.simulation.life import live
from tests.simulation.roster import SETTINGS, write_workspace
from tests.simulation.site import Signal, Site

WEEK = (clock.monday(5), clock.END)


def healthy(seed: int, step: int = 2, change: Callable[[Site], None] | None = None) -> tuple[list[Site], list[Signal]]:
    """Every ``step``-th site of the invented station with another life for every seed, and all their signals."""
    sites = population()[::step]
    for site in sites:
        site.index += 1000 * seed
        site.first_at, site.last_at = clock.START, clock.END
        if change is not None:
            change(site)
    return sites, [signal for site in sites for signal in live(site)]


def _laid(
    sites: Sequence[Site], signals: Iterable[Signal], as_of: int
) -> tuple[Desk, Coverage, Settings, dict[str, pa.Table]]:
    con = engine_duckdb.connect()
    desk = Desk(con, Window(_utc(WEEK[0]), _utc(WEEK[1]), _utc(as_of)))
    desk.put("signals", _table([s for s in signals if clock.START <= s.at < as_of]))
    code_table.load(con)
    desk.make("events", query("events/events"))
    desk.make("panel_times", PANEL_TIMES.format(signals="signals"))
    for name in FACTS:
        desk.make(f"all_{name}", query(f"facts/{name}"))
    with tempfile.TemporaryDirectory() as home:
        write_workspace(Path(home), list(sites))
        settings = parse(SETTINGS, Path(home))
        tables = roster.read(Path(home) / "roster", settings).tables
    lines = [(r, ln) for r, ln in desk.rows("select distinct receiver, line from all_fact_minute order by all")]
    spans = {key: [(float(clock.START), float(as_of))] for key in lines}
    nothing = Series(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))
    return desk, Coverage([], [], spans, dict.fromkeys(lines, nothing)), settings, dict(tables)


def scanned(
    sites: Sequence[Site], signals: Iterable[Signal], as_of: int = WEEK[1], holes: Iterable[Hole] = ()
) -> Incidents:
    """The incidents of the station up to ``as_of``, the last whole week being the window."""
    desk, coverage, settings, tables = _laid(sites, signals, as_of)
    coverage = replace(coverage, holes=list(holes))
    Clocks().put(desk)
    measures.station_wide(desk, tables, {}, settings, coverage)
    return incidents.find(desk, coverage)


def judged(
    sites: Sequence[Site], signals: Iterable[Signal], checks: Sequence[str], as_of: int = WEEK[1]
) -> tuple[Judged, Desk]:
    """Verdicts of some checks over the same, with the desk they were made on."""
    desk, coverage, settings, tables = _laid(sites, signals, as_of)
    cards = {name: read(queries() / "checks" / f"{name}.toml") for name in {*checks, "test_overdue"}}
    return judging.judge(desk, tables, cards, settings, [], ready=coverage), desk


def _utc(at: int) -> datetime:
    return datetime.fromtimestamp(at, UTC).replace(tzinfo=None)


def _table(signals: list[Signal]) -> pa.Table:
    ordered = sorted(signals, key=lambda s: (s.at, s.receiver, s.line, s.account, s.event))
    text = {name: [getattr(s, name) for s in ordered] for name in ("receiver", "line", "account", "event", "origin")}
    coded = [e[0] in "ERP" and len(e) == 4 for e in text["event"]]
    n = len(ordered)
    columns = {
        "account_key": [f"main/{a}" for a in text["account"]], "receiver_group": ["main"] * n,
        "account": text["account"], "received_wall": [""] * n, "time_doubt": ["exact"] * n,
        "receiver": text["receiver"], "line": text["line"], "event_raw": text["event"],
        "qualifier": [e[0] if c else "" for e, c in zip(text["event"], coded, strict=True)],
        "code": [e[1:] if c else "" for e, c in zip(text["event"], coded, strict=True)],
        "format": [s.form for s in ordered], "partition": [s.partition.lstrip("0") or s.partition[:1] for s in ordered],
        "zone": [s.zone for s in ordered], "path": [""] * n, "origin": text["origin"],
        "panel_time": [""] * n, "sequence": [""] * n,
    }  # fmt: skip
    made = {name: pa.array(values, pa.string()) for name, values in columns.items()}
    made["received_utc"] = pa.array(np.array([s.at for s in ordered], dtype="datetime64[s]").astype("datetime64[us]"))
    made["edge_doubt"] = pa.array([False] * n)
    made["source_id"] = pa.array([1] * n, pa.int64())
    made["part"] = pa.array([1] * n, pa.int64())
    made["line_no"] = pa.array(range(1, n + 1), pa.int64())
    return pa.table(made)
