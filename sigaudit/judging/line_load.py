"""How busy the receiver lines are: calls by hour, the busy hour, and how often a caller finds the line busy.

Erlang's B formula (Erlang A.K. 1917) by the recursion B(0) = 1, B(i) = a B(i-1) / (i + a B(i-1)), for calls
that come at random and are lost when no circuit is free. A log shows no holding time and no circuits: both
are given by the asker or are house defaults, and the answer says so. One signal is counted as one call, which
is right for a dialer that sends one event a call and too many for bursts in one call.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sigaudit.judging.desk import Desk, Window
from sigaudit.judging.stats import poisson_tail
from sigaudit.settings import Settings
from sigaudit.store import facts, shipped
from sigaudit.store.engine_duckdb import connect
from sigaudit.store.opening import Store

HOUR_S, DAY_S = 3600.0, 86400.0
# What the annex of NFPA 72 reckons with where nothing better is known (memory): 30 s a call, and nine of ten
# callers find a free line.
HOLDING_S = 30.0
HOLDING_STANDING = "memory: NFPA 72 annex, 30 s average connect time; a log does not show it"
MOST_BLOCKED = 0.1
# Chance, over all sixty minutes, that testers spread evenly fill one as much (house).
BUNCHED = 0.01
BLOCKED_STANDING = "memory: NFPA 72 annex, a line free for nine of ten calls"


@dataclass(frozen=True)
class Load:
    """One receiver line: its own busy hour, and the same tests at six hours. erlangs and shares, calls per hour."""

    receiver: str
    line: str
    kind: str
    circuits: int
    hours: int
    calls: int
    calls_per_hour: float
    busy_utc: datetime
    busy_calls: int
    busy_erlangs: float
    busy_blocked: float
    usual_blocked: float
    test_share: float
    testers: int
    fullest_minute: int
    testers_there: int
    bunched: bool
    daily_testers: int
    six_hour_calls: float
    six_hour_erlangs: float
    six_hour_blocked: float


def erlang_b(circuits: int, erlangs: float) -> float:
    """Share of calls that find every one of ``circuits`` busy at ``erlangs`` offered. Source: see the module."""
    if circuits < 0 or not erlangs >= 0:
        raise ValueError("circuits and offered load are at least zero")
    blocked = 1.0
    for i in range(1, circuits + 1):
        blocked = erlangs * blocked / (i + erlangs * blocked)
    return blocked


def offered(calls: float, span_s: float, holding_s: float) -> float:
    """Load in erlangs: circuits busy on average while ``calls`` of ``holding_s`` come in ``span_s``."""
    return calls * holding_s / span_s


def measure(
    store: Store, settings: Settings, window: Window, *, holding_s: float = HOLDING_S, circuits: int = 1
) -> tuple[list[Load], list[dict[str, Any]]]:
    """Loads by receiver line, the busiest first, and the calls of every hour that had any.

    Facts must be up to date. Check-ins are no calls; lines that carry nothing else are left out.
    """
    with connect(memory_limit=settings.memory_limit) as con:
        facts.cut(store, con, window.from_utc, window.as_of_utc, window.from_utc)
        desk = Desk(con, window)
        hours = desk.run(shipped.query("report/line_hours")).to_pylist()
        tests = {(r["receiver"], r["line"]): r for r in desk.run(shipped.query("report/line_tests")).to_pylist()}
    by_line: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in hours:
        by_line.setdefault((row["receiver"], row["line"]), []).append(row)
    span_h = max(1, round((window.as_of_utc - window.from_utc).total_seconds() / HOUR_S))
    loads = [
        _load(key, rows, tests.get(key, {}), settings.path_kind_of(*key), span_h, holding_s, circuits)
        for key, rows in by_line.items()
    ]
    return sorted(loads, key=lambda load: (-load.busy_blocked, load.receiver, load.line)), hours


def _load(
    key: tuple[str, str], rows: Sequence[dict[str, Any]], tests: dict[str, Any], kind: str, span_h: int,
    holding_s: float, circuits: int,
) -> Load:  # fmt: skip
    busy = max(rows, key=lambda row: (row["n"], -row["utc_hour"].timestamp()))
    calls = sum(row["n"] for row in rows)
    erlangs = offered(busy["n"], HOUR_S, holding_s)
    daily, testers, there = (int(tests.get(name, 0)) for name in ("n_daily", "n_testers", "n_there"))
    # A test a day becomes four: three more for each, spread over the day, on top of the busy hour.
    more = busy["n"] + 3 * daily / 24
    return Load(
        receiver=key[0],
        line=key[1],
        kind=kind,
        circuits=circuits,
        hours=span_h,
        calls=calls,
        calls_per_hour=calls / span_h,
        busy_utc=busy["utc_hour"],
        busy_calls=busy["n"],
        busy_erlangs=erlangs,
        busy_blocked=erlang_b(circuits, erlangs),
        usual_blocked=erlang_b(circuits, offered(calls, span_h * HOUR_S, holding_s)),
        test_share=tests.get("n_tests", 0) / calls if calls else 0.0,
        testers=testers,
        fullest_minute=int(tests.get("minute_no", 0)),
        testers_there=there,
        bunched=bool(there) and 60 * float(poisson_tail(there, testers / 60)) < BUNCHED,
        daily_testers=daily,
        six_hour_calls=more,
        six_hour_erlangs=offered(more, HOUR_S, holding_s),
        six_hour_blocked=erlang_b(circuits, offered(more, HOUR_S, holding_s)),
    )


def sentences(loads: Sequence[Load], local: Any, holding_s: float, circuits: int) -> list[str]:
    """What the numbers say, in plain words; ``local`` turns a UTC instant into text."""
    said = [
        f"Reckoned with {holding_s:g} s a call and {circuits} circuit{'s' if circuits > 1 else ''} a line;"
        " a log shows neither. Not a statement of any code."
    ]
    for load in loads:
        where = f"Line {load.receiver}/{load.line}"
        said.append(
            f"{where}: busiest hour {local(load.busy_utc)} with {load.busy_calls} calls, {load.busy_erlangs:.2f}"
            f" erlangs: {load.busy_blocked:.1%} of the callers would find it busy."
        )
        if load.bunched:
            said.append(
                f"{where}: {load.testers_there} of {load.testers} numbers test in minute {load.fullest_minute} of the"
                " hour, more than chance would put there: spread them."
            )
        if load.daily_testers:
            verdict = "above" if load.six_hour_blocked > MOST_BLOCKED else "within"
            said.append(
                f"{where}: {load.daily_testers} of its numbers test once a day. At six hours the busy hour would have"
                f" {load.six_hour_calls:.0f} calls and {load.six_hour_blocked:.1%} busy, {verdict} one in ten."
            )
    return said
