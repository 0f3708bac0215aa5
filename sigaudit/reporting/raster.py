"""When an account's tests came, day by day, and how long its check-ins fell silent."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from statistics import median
from typing import Any

from sigaudit.reporting.figures import Chart, chart
from sigaudit.reporting.page import Clock, Row, counted, day_text, number
from sigaudit.reporting.traces import bars, marks, tone

_FORMS = ("circle", "square", "diamond", "triangle-up", "star", "hexagon")
_HOURS = tuple(range(0, 25, 4))


def raster_of_tests(evidence: Sequence[Row], slots: Sequence[Row], clock: Clock) -> Chart:
    """Chart of tests: across the local day, upward the local time of day.

    A timer draws a level line, one that drifts a slanting one, two timers two lines. Tables: evidence and slots of the
    account's page.
    """
    tests: dict[str, list[datetime]] = defaultdict(list)
    for row in evidence:
        if row["test_kind"] == "periodic" and row["qualifier"] != "R" and not row["is_resend"]:
            tests[_name(row)].append(row["received_utc"])
    absent = [row for row in slots if row["state"] in ("missed", "excused")]
    if not tests and not absent:
        why = "No test of this account is held for the window and the four weeks before it, and none was due."
        return Chart("raster", "No tests", "", 0, {}, empty=why)
    traces = []
    for form, (name, times) in zip(_FORMS * len(tests), sorted(tests.items()), strict=False):
        hover = [f"{name}, {clock.exact(at)}" for at in times]
        traces.append(_marks(times, clock, name=name, symbol=form, color="ink", hover=hover, size=6))
    for state, (word, color, symbol) in {
        "missed": ("due, did not come", "critical", "x-thin"),
        "excused": ("due, excused", "excused", "diamond-open"),
    }.items():
        these = [row for row in absent if row["state"] == state]
        if these:
            hover = [f"{word}: {row['path'] or 'any path'}, {clock.text(row['due_utc'])}" for row in these]
            times = [row["due_utc"] for row in these]
            traces.append(_marks(times, clock, name=word, symbol=symbol, color=color, hover=hover, size=9))
    days = sorted({day for trace in traces for day in trace["x"]})
    first, last = date.fromisoformat(days[0]), date.fromisoformat(days[-1])
    return chart(
        "raster",
        _title(tests, absent),
        f"Each mark is one test at its local time ({clock.zone}). A timer makes a level line; a line that slants is a"
        " timer that drifts; a step of one hour is the change of clocks.",
        traces,
        height=360,
        x={
            "title": "local day",
            "type": "date",
            "range": [f"{first - timedelta(days=1)}", f"{last + timedelta(days=1)}"],
            "tickformat": "%-d %b",
        },
        y={
            "title": "local time of day [h]",
            "range": [-30, 1470],
            "tickmode": "array",
            "tickvals": [60 * hour for hour in _HOURS],
            "ticktext": [f"{hour:02d}:00" for hour in _HOURS],
        },
        head=("tests", "first", "last", "received", "usual gap [h]"),
        table=[
            (name, clock.text(min(times)), clock.text(max(times)), len(times), _gap(times))
            for name, times in sorted(tests.items())
        ],
    )


def check_in_gaps(days: Sequence[Row], paths: Sequence[Row], clock: Clock) -> Chart | None:
    """Chart of the longest silence between check-ins, day by day; None where no check-in is held.

    Tables: check_in_days and path_rows of the account's page. The limit drawn is the roster's supervision interval.
    """
    if not days:
        return None
    names = _line_names(paths)
    limits = {f"{p['receiver']}/{p['line']}": p["supervision_s"] for p in paths if p["supervision_s"]}
    traces = []
    for pattern, line in zip(("", "/", ".", "x") * len(days), sorted({row["path"] for row in days}), strict=False):
        these = [row for row in days if row["path"] == line]
        name = names.get(line, f"receiver / line {line}")
        traces.append(
            bars(
                [row["local_day"].isoformat() for row in these],
                [round((row["max_gap_s"] or 0) / 60, 1) for row in these],
                name=name,
                color="accent",
                pattern=pattern,
                hover=[
                    f"{name}, {day_text(row['local_day'])}: longest gap {number((row['max_gap_s'] or 0) / 60)} min,"
                    f" {counted(row['n'], 'check-in')}"
                    for row in these
                ],
            )
        )
    longest = max(days, key=lambda row: row["max_gap_s"] or 0)
    gap = number((longest["max_gap_s"] or 0) / 60)
    allowed = ", ".join(
        f"{number(seconds / 60)} min on {names.get(line, line)}" for line, seconds in sorted(limits.items())
    )
    drawn = chart(
        "check-ins",
        f"Longest silence between check-ins: {gap} min on {day_text(longest['local_day'])}"
        + (f"; the roster allows {allowed}" if allowed else ""),
        "One bar per UTC day and path; a silence counts on the day on which it ended. Dashed: what the roster allows.",
        traces,
        height=280,
        x={"title": "day (UTC)", "type": "date", "tickformat": "%-d %b"},
        y={"title": "longest silence [min]", "rangemode": "tozero"},
        shapes=[_level(seconds / 60) for seconds in sorted(set(limits.values()))],
        head=("path", "day", "check-ins", "longest silence [min]"),
        table=[
            (names.get(row["path"], row["path"]), row["local_day"].isoformat(), row["n"],
             round((row["max_gap_s"] or 0) / 60, 1))
            for row in days
        ],
    )  # fmt: skip
    drawn.figure["layout"]["barmode"] = "group"
    return drawn


def _name(row: Row) -> str:
    return " · ".join(part for part in ("test", row["origin"], row["path"]) if part and part != "unknown")


def _marks(times: Sequence[datetime], clock: Clock, **look: Any) -> dict[str, Any]:
    """Marks at the local day of each instant, as high as its local minute."""
    local = [clock.local(at) for at in times]
    made = marks([f"{at:%Y-%m-%d}" for at in local], [""] * len(local), legend=True, **look)
    made["y"] = [at.hour * 60 + at.minute for at in local]
    return made


def _gap(times: Sequence[datetime]) -> float:
    ordered = sorted(times)
    gaps = [(b - a).total_seconds() / 3600 for a, b in pairwise(ordered)]
    return round(median(gaps), 2) if gaps else 0.0


def _title(tests: dict[str, list[datetime]], absent: Sequence[Row]) -> str:
    held = sum(len(times) for times in tests.values())
    missed = sum(row["state"] == "missed" for row in absent)
    gap = _gap(max(tests.values(), key=len)) if tests else 0.0
    told = f"{counted(held, 'test')} came" + (f", usually every {number(gap)} h" if gap else "")
    return told + (f"; {counted(missed, 'due one')} did not" if missed else "")


def _line_names(paths: Sequence[Row]) -> dict[str, str]:
    return {f"{p['receiver']}/{p['line']}": p["path"] for p in paths if p["receiver"] or p["line"]}


def _level(y: float) -> dict[str, object]:
    return {
        "type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": y, "y1": y, "layer": "above",
        "line": {"color": tone("critical"), "width": 1.5, "dash": "dash"},
    }  # fmt: skip
