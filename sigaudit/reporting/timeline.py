"""An account's evidence as one chart: what came, what was due, and what excuses a silence."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta

from sigaudit.reporting.figures import Chart, chart
from sigaudit.reporting.page import SEVERITIES, Clock, Row, counted, day_text
from sigaudit.reporting.traces import marks, span, spans, stamp

# Beyond this many, marks of one row, kind and hour are drawn as one, its count in the hover text.
MOST_MARKS = 600
MOST_ROWS = 14

_SYMBOLS = {"E": "circle", "R": "circle-open", "P": "line-ns-open", "": "square"}
_SPANS = {
    "coverage_hole": ("log missing", "critical", "x"),
    "incident": ("incident", "minor", "/"),
    "on_test": ("on test", "excused", "."),
    "episode": ("condition", "major", "\\"),
}
_SEVERITY_PATTERNS = {"critical": "", "major": "/", "minor": ".", "note": "-"}
_SLOTS = {
    "received": ("received", "good", "circle"),
    "missed": ("missed", "critical", "x-thin"),
    "excused": ("excused", "excused", "diamond-open"),
}


def signal_row(row: Row) -> str:
    """Row of the timeline a signal is drawn in: its class, the box that spoke and the path, where they are known."""
    kind = str(row["event_class"] or "unknown").replace("_", " ").replace("test-misc", "test")
    origin = "" if row["origin"] in ("", "unknown") else row["origin"]
    return " · ".join(part for part in (kind, origin, row["path"]) if part)


def timeline(
    evidence: Sequence[Row],
    slots: Sequence[Row],
    held: Sequence[Row],
    check_ins: Sequence[Row],
    clock: Clock,
    as_of: datetime,
    *,
    whole: bool = True,
    findings: Sequence[Row] = (),
) -> Chart:
    """Chart of one account. Tables: evidence, slots, spans, check_in_days of that account's page; its findings.

    ``whole``: the slots hold the tests that came too; else a share of tests would be a false one.
    """
    edges = [row["received_utc"] for row in evidence] + [row["due_utc"] for row in slots]
    edges += [row["from_utc"] for row in held if row["kind"] != "coverage_hole"]
    edges += [clock.noon(row["local_day"]) for row in check_ins]
    note = "Filled circle: event. Open circle: restore. Stroke: still standing. Square: none of these."
    if not edges:
        why = "No signal of this account is held for the window and the four weeks before it: nothing to draw."
        return Chart("timeline", "Nothing was heard", note, 0, {}, empty=why)
    start, end = min(edges) - timedelta(hours=6), max(max(edges), as_of) + timedelta(hours=6)
    traces: list[dict[str, object]] = []
    shapes: list[dict[str, object]] = []
    order: list[str] = []
    _draw_findings(findings, traces, order, clock, start, min(end, as_of))
    for kind, (word, color, pattern) in _SPANS.items():
        inside = [
            (
                word,
                max(row["from_utc"], start),
                min(row["until_utc"] or as_of, end),
                _span_text(row, word, clock),
            )
            for row in held
            if row["kind"] == kind and (row["until_utc"] or as_of) > start and row["from_utc"] < end
        ]
        if not inside:
            continue
        order.append(word)
        traces.append(spans(inside, name=word, color=color, pattern=pattern))
        if kind != "episode":
            shapes += [span(row[1], row[2], color) for row in inside]
    _draw_slots(slots, traces, order, clock)
    _draw_check_ins(check_ins, traces, order, clock)
    shown = _draw_signals(evidence, traces, order, clock)
    title = _title(evidence, slots, whole)
    if shown < len(evidence):
        note += " Signals of one kind within one hour are drawn as one mark."
    return chart(
        "timeline",
        title,
        note,
        traces,
        height=104 + 30 * len(order),
        shapes=shapes,
        legend=False,
        left=24,
        x={
            "title": f"received, local time ({clock.zone})",
            "type": "date",
            "range": [stamp(start), stamp(end)],
        },
        y={
            "title": "",
            "type": "category",
            "categoryorder": "array",
            "categoryarray": order[::-1],
            "range": [-0.6, len(order) - 0.4],
            "fixedrange": True,
            "showgrid": True,
        },
        offsets=clock.offsets(start, end),
        head=("row", "first", "last", "marks"),
        table=_table(evidence, slots, check_ins, clock),
    )


def _title(evidence: Sequence[Row], slots: Sequence[Row], whole: bool) -> str:
    counts = Counter(row["state"] for row in slots)
    heard = f"{counted(len(evidence), 'signal')} in all"
    if not slots:
        return heard
    excused = f" ({counts['excused']:,} more excused)" if counts["excused"] else ""
    if whole:
        judged = counted(counts["received"] + counts["missed"], "test")
        return f"{counts['received']:,} of {judged} due came{excused}; {heard}"
    return f"{counted(counts['missed'], 'test')} due did not come{excused}; {heard}"


def _draw_findings(
    findings: Sequence[Row],
    traces: list[dict[str, object]],
    order: list[str],
    clock: Clock,
    start: datetime,
    end: datetime,
) -> None:
    """One bar per finding, from since when it is so; without a date from the beginning of the chart."""
    for severity in SEVERITIES:
        for row in findings:
            if row["severity"] != severity:
                continue
            name = f"finding: {row['title'] or row['check']}"
            since, until = row["since"] or start, row["until"] or end
            if name not in order:
                order.append(name)
            told = f"{severity}: {row['sentence']} Since {clock.text(row['since']) or 'not known'}."
            inside = [(name, max(since, start), max(min(until, end), max(since, start)), told)]
            traces.append(spans(inside, name=name, color=severity, pattern=_SEVERITY_PATTERNS[severity]))


def _span_text(row: Row, word: str, clock: Clock) -> str:
    until = clock.text(row["until_utc"]) if row["until_utc"] else "still open"
    return f"{word}: {row['label']}, {clock.text(row['from_utc'])} to {until}"


def _draw_slots(slots: Sequence[Row], traces: list[dict[str, object]], order: list[str], clock: Clock) -> None:
    for path in sorted({row["path"] for row in slots}):
        name = f"test due · {path}" if path else "test due"
        order.append(name)
        for state, (word, color, symbol) in _SLOTS.items():
            these = [row for row in slots if row["path"] == path and row["state"] == state]
            if these:
                hover = [
                    f"test due {clock.text(row['due_utc'])}: {word}"
                    + (f" by {row['excused_by']}" if row["excused_by"] else "")
                    for row in these
                ]
                traces.append(
                    marks(
                        [stamp(row["due_utc"]) for row in these],
                        [name] * len(these),
                        name=name,
                        symbol=symbol,
                        color=color,
                        hover=hover,
                        size=8,
                    )
                )


def _draw_check_ins(days: Sequence[Row], traces: list[dict[str, object]], order: list[str], clock: Clock) -> None:
    for path in sorted({row["path"] for row in days}):
        name = f"check-ins · {path}" if path else "check-ins"
        order.append(name)
        these = [row for row in days if row["path"] == path]
        hover = [
            f"{day_text(row['local_day'])}: {counted(row['n'], 'check-in')}"
            f", longest gap {(row['max_gap_s'] or 0) / 60:,.0f} min"
            for row in these
        ]
        traces.append(
            marks(
                [stamp(clock.noon(row["local_day"])) for row in these],
                [name] * len(these),
                name=name,
                symbol="square-open",
                color="good",
                hover=hover,
                size=8,
            )
        )


def _draw_signals(evidence: Sequence[Row], traces: list[dict[str, object]], order: list[str], clock: Clock) -> int:
    """Add the signal rows; gives the number of marks drawn."""
    totals = Counter(signal_row(row) for row in evidence)
    rows = [name for name, _ in sorted(totals.items(), key=lambda pair: (-pair[1], pair[0]))]
    kept = set(rows if len(rows) <= MOST_ROWS else rows[: MOST_ROWS - 1])
    folded: dict[str, dict[object, list[Row]]] = defaultdict(lambda: defaultdict(list))
    for number, row in enumerate(evidence):
        name = signal_row(row) if signal_row(row) in kept else "other"
        hour = row["received_utc"].replace(minute=0, second=0, microsecond=0)
        key: object = (hour, row["qualifier"]) if len(evidence) > MOST_MARKS else number
        folded[name][key].append(row)
    drawn = 0
    for name in sorted(folded):
        order.append(name)
        groups = list(folded[name].values())
        drawn += len(groups)
        traces.append(
            marks(
                [stamp(group[0]["received_utc"]) for group in groups],
                [name] * len(groups),
                name=name,
                symbol=[_SYMBOLS.get(group[0]["qualifier"], "square") for group in groups],
                color="ink",
                hover=[_signal_text(group, clock) for group in groups],
                size=7,
            )
        )
    return drawn


def _signal_text(group: Sequence[Row], clock: Clock) -> str:
    row = group[0]
    what = " ".join(
        part for part in (row["event_raw"], row["label"][:60], f"zone {row['zone']}" if row["zone"] else "") if part
    )
    if len(group) > 1:
        return f"{clock.text(row['received_utc'])} and after: {len(group)} signals, first {what}"
    return f"{clock.exact(row['received_utc'])} {what}, receiver {row['receiver']}, line {row['line']}"


def _table(
    evidence: Sequence[Row], slots: Sequence[Row], days: Sequence[Row], clock: Clock
) -> list[tuple[object, ...]]:
    found: dict[str, list[datetime]] = defaultdict(list)
    for row in evidence:
        found[signal_row(row)].append(row["received_utc"])
    for row in slots:
        found[f"test due · {row['path']} · {row['state']}"].append(row["due_utc"])
    for row in days:
        found[f"check-ins · {row['path']}"] += [clock.noon(row["local_day"])] * (row["n"] or 0)
    return [(name, clock.text(min(at)), clock.text(max(at)), len(at)) for name, at in sorted(found.items())]
