"""What is covered, per receiver line and local day: the answer of ``status``."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from sigaudit.judging import audit, clocks
from sigaudit.judging.coverage import Coverage
from sigaudit.judging.desk import Desk, Window
from sigaudit.judging.judge import survey
from sigaudit.settings import Settings
from sigaudit.store import facts
from sigaudit.store.clock_breaks import step_words
from sigaudit.store.engine_duckdb import connect
from sigaudit.store.opening import Store
from sigaudit.store.shipped import query


def by_line_and_day(store: Store, settings: Settings) -> tuple[list[dict[str, Any]], list[str]]:
    """One row per receiver, line and local day: signals, hours covered of the day's hours, and any hole's kind;
    and what the exports tell of the receivers' clocks, a line each.

    Facts must be up to date. Raises NothingToRead for an empty store.
    """
    as_of = audit.last_signal(store) + timedelta(seconds=1)
    with connect(memory_limit=settings.memory_limit) as con:
        history = as_of - timedelta(weeks=settings.history_weeks)
        facts.cut(store, con, as_of, as_of, history)
        known = clocks.known_at(store)
        desk = Desk(con, Window(history, as_of, as_of))
        found = survey(desk, audit.spans(store), settings, known)
        desk.view("fact_clock", "select * from all_fact_clock")
        offsets = desk.run(query("measures/03_clock_offsets")).to_pylist()
    said = clock_notes(store, known)
    rows = []
    for (receiver, line), series in sorted(found.traffic.items()):
        spans = found.spans[receiver, line]
        if not spans:
            continue
        first = max(float(series.first[0]), (history - datetime(1970, 1, 1)).total_seconds())
        day = datetime.fromtimestamp(first, UTC).astimezone(settings.zone).date()
        last = as_of.replace(tzinfo=UTC).astimezone(settings.zone).date()
        while day <= last:
            a, b = _edges(day, settings)
            held = sum(max(0.0, min(b, y) - max(a, x)) for x, y in spans)
            rows.append(
                {
                    "receiver": receiver, "line": line, "day": day.isoformat(), "signals": series.between(a, b),
                    "covered_h": round(held / 3600, 1), "of_h": round((b - a) / 3600, 1),
                    "note": ", ".join(
                        [*_holes(found, receiver, line, a, b), *(w for r, x, y, w in said if r == receiver
                         and x < b and y >= a)]
                    ),
                }
            )  # fmt: skip
            day += timedelta(days=1)
    return rows, [*unordered(store), *(_offset(row) for row in offsets)]


def summary(store: Store) -> str:
    """One line: how many sources, lines and signals are held, from when to when."""
    sources = store.catalog.sources()
    signals = sum(source.n_signals for source in sources)
    first = min((s.first_utc for s in sources if s.first_utc), default=None)
    last = max((s.last_utc for s in sources if s.last_utc), default=None)
    return f"{len(sources)} sources, {signals} signals, {first} to {last} UTC"


def _edges(day: date, settings: Settings) -> tuple[float, float]:
    midnight = datetime.min.time()
    a, b = (datetime.combine(d, midnight, settings.zone).timestamp() for d in (day, day + timedelta(days=1)))
    return a, b


def clock_notes(store: Store, known: clocks.Clocks) -> list[tuple[str, float, float, str]]:
    """(receiver, from, until [s since 1970], words) of every step back of a receiver's clock, with its place."""
    names = {source.source_id: source.name for source in store.catalog.sources()}
    return [
        (receiver, a, b, f"clock stepped back {step_words(b - a)} ({names[one.source_id]}:{one.line_no})")
        for one, (receiver, a, b) in zip(known.breaks, known.steps, strict=True)
    ]


def unordered(store: Store) -> list[str]:
    """One line for each receiver of a source whose lines are in no order of time."""
    names = {source.source_id: source.name for source in store.catalog.sources()}
    return [
        f"{names[source]}: receiver {receiver!r} is not in order of time; its clock is not judged by it"
        for source, receiver in clocks.known_at(store).unordered
    ]


def _offset(row: dict[str, Any]) -> str:
    seconds = round(row["offset_s"])
    how = f"runs {abs(seconds)} s {'ahead of' if seconds > 0 else 'behind'}" if seconds else "agrees with"
    spread = f"spread {round(row['spread_s'])} s"
    return f"receiver {row['receiver']} {how} the sending clocks, from {row['n_accounts']} accounts ({spread})"


def _holes(found: Coverage, receiver: str, line: str, a: float, b: float) -> list[str]:
    kinds = {h.kind for h in found.holes if (h.receiver, h.line) == (receiver, line) and h.from_s < b and h.until_s > a}
    return [kind.replace("_", " ") for kind in sorted(kinds)]
