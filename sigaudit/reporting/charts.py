"""The weekly page's four charts: log coverage, tests by day, findings by kind and by dealer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from sigaudit.reporting.figures import Chart, chart
from sigaudit.reporting.page import SEVERITIES, Clock, Row, counted, day_text, percent
from sigaudit.reporting.traces import bars, cells, marks, stamp, strip

# state -> (word, colour, symbol drawn on top so that colour is not needed)
_STATES = {
    "covered": ("log held, signals came", "good-soft", ""),
    "quiet": ("log held, nothing came", "rule", ""),
    "not_told_apart": ("silent: not told apart", "major", "diamond"),
    "outage": ("outage", "minor", "triangle-down"),
    "missing": ("log missing", "critical", "x"),
}
_PATTERNS = {"critical": "", "major": "/", "minor": ".", "note": "-"}


@dataclass(frozen=True)
class _Run:
    row: str
    first: datetime
    last: datetime
    n: int


def _nothing(name: str, title: str, why: str) -> Chart:
    return Chart(name, title, "", 0, {}, empty=why)


def coverage(table: Sequence[Row], clock: Clock) -> Chart:
    """Strip of hours by receiver line, window and the seven days before it."""
    if not table:
        why = "No receiver line was heard, so there is no strip to draw."
        return _nothing("coverage", "Hours for which the log is held", why)
    lines = sorted({(row["receiver"], row["line"]) for row in table})
    start, end = min(row["hour_utc"] for row in table), max(row["hour_utc"] for row in table)
    hours = [start + timedelta(hours=i) for i in range(int((end - start).total_seconds() // 3600) + 1)]
    held = {(row["receiver"], row["line"], row["hour_utc"]): row for row in table}
    order = list(_STATES)
    z: list[list[int | None]] = []
    signals: list[list[int | None]] = []
    runs: dict[str, list[_Run]] = {state: [] for state in order}
    counts: Counter[tuple[str, str, str]] = Counter(
        (row["receiver"], row["line"], row["state"]) for row in table if row["state"] in order
    )
    for receiver, line in lines:
        row_of = [held.get((receiver, line, hour)) for hour in hours]
        states = [row["state"] if row and row["state"] in order else "" for row in row_of]
        z.append([order.index(state) if state else None for state in states])
        signals.append([row["n"] if row else None for row in row_of])
        for state, group in groupby(range(len(hours)), key=states.__getitem__):
            places = list(group)
            if state:
                runs[state].append(_Run(f"{receiver} / {line}", hours[places[0]], hours[places[-1]], len(places)))
    names = [f"{receiver} / {line}" for receiver, line in lines]
    traces = [
        cells(
            [stamp(hour) for hour in hours],
            names,
            z,
            counts=signals,
            columns=[clock.text(hour) for hour in hours],
            states=[_STATES[state][:2] for state in order],
        )
    ]
    for state, (word, color, symbol) in _STATES.items():
        if not symbol:
            strip(traces, color, word)
        elif runs[state]:
            # One symbol in the middle of each run of hours: the form says what the colour says.
            traces.append(
                marks(
                    [stamp(run.first + (run.last - run.first) / 2) for run in runs[state]],
                    [run.row for run in runs[state]],
                    name=word,
                    symbol=symbol,
                    color="paper",
                    edge="ink",
                    size=9,
                    legend=True,
                    hover=[
                        f"{run.row}: {word}, {counted(run.n, 'hour')} from {clock.text(run.first)}"
                        for run in runs[state]
                    ],
                )
            )
    return chart(
        "coverage",
        _coverage_title(counts),
        "One row per receiver line, one cell per hour, the audited window and the seven days before it.",
        traces,
        height=max(170, 104 + 26 * len(names)),
        left=64,
        x={"title": f"hour, local time ({clock.zone})", "type": "date", "showgrid": False},
        y={
            "title": "receiver / line",
            "type": "category",
            "autorange": "reversed",
            "showgrid": False,
            "fixedrange": True,
        },
        offsets=clock.offsets(start, end + timedelta(hours=1)),
        head=("receiver", "line", *(f"hours: {_STATES[state][0]}" for state in order)),
        table=[(receiver, line, *(counts[receiver, line, state] for state in order)) for receiver, line in lines],
    )


def _coverage_title(counts: Counter[tuple[str, str, str]]) -> str:
    total = {state: sum(n for key, n in counts.items() if key[2] == state) for state in _STATES}
    asked = sum(total.values())
    words = (("missing", "missing"), ("outage", "in an outage"), ("not_told_apart", "not told apart"))
    lost = ", ".join(f"{total[state]:,} {word}" for state, word in words if total[state])
    share = percent(total["covered"] + total["quiet"], asked)
    return f"The log is held for {share} of {asked:,} receiver line hours" + (f": {lost}" if lost else "")


def tests_by_day(table: Sequence[Row], zone: str) -> Chart:
    """Tests due by local day: on time, other proof only, missed, excused."""
    days = sorted(table, key=lambda row: row["local_day"])
    if not sum(row["due"] or 0 for row in days):
        return _nothing("tests", "Tests on time by day", "No test was due in this window, so there is nothing to draw.")
    names = [day_text(row["local_day"]) for row in days]
    # Lenient counts include the strict ones; what is drawn is the difference, so that a bar adds up.
    parts = (
        ("on time, by a test", "good", "", [row["strict"] or 0 for row in days]),
        (
            "proven by another signal only",
            "good-soft",
            "/",
            [max(0, (row["lenient"] or 0) - (row["strict"] or 0)) for row in days],
        ),
        ("missed", "critical", "x", [row["missed"] or 0 for row in days]),
        ("excused", "excused", ".", [row["excused"] or 0 for row in days]),
    )
    traces = [
        bars(
            names,
            values,
            name=name,
            color=color,
            pattern=pattern,
            hover=[f"{day}: {value:,} {name}" for day, value in zip(names, values, strict=True)],
        )
        for name, color, pattern, values in parts
    ]
    due, strict = sum(row["due"] or 0 for row in days), sum(row["strict"] or 0 for row in days)
    worst = max(days, key=lambda row: (row["missed"] or 0, row["local_day"]))
    title = f"{percent(strict, due)} of {due:,} tests due came in time"
    if worst["missed"]:
        title += f"; most were missed on {day_text(worst['local_day'])} ({worst['missed']:,})"
    return chart(
        "tests",
        title,
        "Excused tests fell into an incident, an on-test span or a hole in the log: not blamed, not proven.",
        traces,
        height=300,
        x={"title": f"day, local time ({zone})", "type": "category", "showgrid": False, "fixedrange": True},
        y={"title": "tests due (count)", "rangemode": "tozero", "fixedrange": True},
        head=("day", "due", *(part[0] for part in parts)),
        table=[(names[i], row["due"], *(part[3][i] for part in parts)) for i, row in enumerate(days)],
    )


def _by_severity(
    name: str, title: str, note: str, counts: Counter[tuple[str, str]], unit: str, label: str, most: int
) -> Chart:
    """Flat stacked bars, one per key, severity by severity; the longest ``most`` are drawn."""
    keys = sorted({key for key, _ in counts}, key=lambda key: (-sum(counts[key, s] for s in SEVERITIES), key))
    drawn = keys[:most]
    longest = max(sum(counts[key, severity] for severity in SEVERITIES) for key in drawn)
    traces = [
        bars(
            [counts[key, severity] for key in drawn],
            drawn,
            name=severity,
            color=severity,
            flat=True,
            pattern=_PATTERNS[severity],
            hover=[f"{key}: {counted(counts[key, severity], unit)}, {severity}" for key in drawn],
        )
        for severity in SEVERITIES
        if any(counts[key, severity] for key in drawn)
    ]
    if len(keys) > most:
        note += f" The {most} with most are drawn; all {len(keys)} are in the table."
    return chart(
        name,
        title,
        note,
        traces,
        height=96 + 24 * len(drawn),
        x={
            "title": f"{unit}s (count)",
            "rangemode": "tozero",
            "fixedrange": True,
            **({"dtick": 1} if longest < 9 else {}),
        },
        y={"title": "", "type": "category", "autorange": "reversed", "showgrid": False, "fixedrange": True},
        left=20,
        head=(label, *SEVERITIES, "together"),
        table=[(key, *(counts[key, s] for s in SEVERITIES), sum(counts[key, s] for s in SEVERITIES)) for key in keys],
    )


def by_kind(findings: Sequence[Row]) -> Chart:
    """Findings by check and severity."""
    counts: Counter[tuple[str, str]] = Counter((row["title"] or row["check"], row["severity"]) for row in findings)
    if not counts:
        return _nothing("kinds", "Findings by kind", "No check found anything, so there is nothing to draw.")
    together = Counter(row["title"] or row["check"] for row in findings)
    top, n = min(together.items(), key=lambda pair: (-pair[1], pair[0]))
    title = f"The most frequent of {counted(len(together), 'kind')}: “{_cut(top)}”, {counted(n, 'finding')}"
    return _by_severity("kinds", title, "A shared cause can stand behind many findings.", counts, "finding", "kind", 24)


def by_dealer(findings: Sequence[Row], accounts: Sequence[Row]) -> Chart:
    """Accounts with a finding by dealer, each at its worst severity; notes alone are left out."""
    worst: dict[str, tuple[int, str]] = {}
    for row in findings:
        if row["severity"] == "note" or not row["dealer"] or not row["account_key"]:
            continue
        held = (SEVERITIES.index(row["severity"]), row["dealer"])
        worst[row["account_key"]] = min(worst.get(row["account_key"], held), held)
    if not worst:
        return _nothing(
            "dealers",
            "Accounts with findings by dealer",
            "No finding above a note carries a dealer's name in the roster.",
        )
    size = Counter(row["dealer"] for row in accounts if row["monitored"])
    affected = Counter(dealer for _, dealer in worst.values())
    labels = {dealer: f"{_cut(dealer)} ({affected[dealer]} of {size[dealer]:,})" for dealer in affected}
    counts: Counter[tuple[str, str]] = Counter((labels[dealer], SEVERITIES[place]) for place, dealer in worst.values())
    top, n = min(affected.items(), key=lambda pair: (-pair[1], pair[0]))
    need = "needs" if len(worst) == 1 else "need"
    title = (
        f"{counted(len(worst), 'account')} of {counted(len(affected), 'dealer')} {need} care; "
        f"most at {_cut(top)} ({n} of {size[top]:,})"
    )
    note = (
        "Each account once, at its worst severity; in brackets accounts with findings of all monitored. "
        "A place here is a lead, not a fault of any installer."
    )
    return _by_severity("dealers", title, note, counts, "account", "dealer", 24)


def _cut(text: str, most: int = 44) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"
