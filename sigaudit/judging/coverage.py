"""Log coverage: when were we listening, and where a silence is not the sites' fault.

Everything is worked out per receiver line: what no export speaks for (``export_gap``), where the
whole receiver fell silent (``receiver_outage`` when it said so itself or a backlog followed, else
``not_told_apart``), and where one line fell silent while its siblings talked
(``receiver_line_outage``).
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa

from sigaudit.judging.clocks import skipped_hours
from sigaudit.judging.silences import SHORTEST_S, Series, Silence, find, together, usual_gap

HOUR_S = 3600.0
# An incident that has not ended excuses misses for one day only: it must never hide an account.
OPEN_EXCUSE_S = 86400.0
# Between two exports of a quiet receiver nobody spoke for the minutes around the change of file. Such
# a stretch is no hole while it is short and what usually comes in it is little: P(0) above 0.001 (house).
BRIDGE_S = 7200.0
BRIDGE_EXPECTED = 6.9
_SAYS_SO_S = 900.0
BACKLOG_S = 7200.0
_BACKLOG_EVENTS = 3

Line = tuple[str, str]
Span = tuple[float, float]


@dataclass(frozen=True)
class Hole:
    """A stretch in which one receiver line could not have shown a signal [s since 1970]."""

    receiver: str
    line: str
    from_s: float
    until_s: float
    kind: str
    incident_id: str


@dataclass(frozen=True)
class Coverage:
    """Holes per line, incidents once each, covered spans per line."""

    holes: list[Hole]
    incidents: list[dict[str, Any]]
    spans: dict[Line, list[Span]]
    traffic: dict[Line, Series]


def survey(
    traffic: dict[Line, Series],
    sources: Iterable[tuple[int, str, str, float, float]],
    own_events: Iterable[tuple[str, float]],
    failed_deliveries: Iterable[tuple[str, float]],
    first_s: float,
    as_of_s: float,
    zone: ZoneInfo,
    steps: Iterable[tuple[str, float, float]] = (),
) -> Coverage:
    """Coverage of every receiver line from ``first_s`` to ``as_of_s`` [s since 1970].

    sources: (source id, receiver, line, first, last) one per source and line in it, first and last
    of the whole source; own_events: (receiver, time) of power and start-up events of receivers;
    failed_deliveries: (receiver, time) of 354 events, the sign of a backlog; steps: (receiver, from, until)
    of clocks that stepped back.
    """
    spans = _spoken_for(traffic, list(sources), as_of_s)
    holes: list[Hole] = []
    incidents: list[dict[str, Any]] = []
    for (receiver, line), covered in spans.items():
        for a, b in _outside(covered, first_s, as_of_s):
            _add(
                holes,
                incidents,
                "export_gap",
                receiver,
                [line],
                Silence(a, b, 0.0, is_open=b >= as_of_s),
                as_of_s,
            )
    own, failed, steps = _by_receiver(own_events), _by_receiver(failed_deliveries), list(steps)
    for receiver, lines in _lines_of(traffic).items():
        pooled = together([traffic[key] for key in lines])
        all_spans = _merge([span for key in lines for span in spans[key]])
        whole = find(pooled, all_spans, as_of_s, zone)
        for silence in whole:
            kind = _which_outage(silence, own[receiver], failed[receiver])
            clock = skipped_hours(receiver, silence.from_s, silence.until_s, steps)
            kind = "not_told_apart" if clock else kind
            _add(holes, incidents, kind, receiver, [key[1] for key in lines], silence, as_of_s, clock=clock)
        if len(lines) > 1:
            for key in lines:
                for silence in find(traffic[key], spans[key], as_of_s, zone):
                    if not any(_overlap(silence, other) for other in whole):
                        _add(holes, incidents, "receiver_line_outage", receiver, [key[1]], silence, as_of_s)
    for entry in incidents:
        # Several lines without a source in the same hours are one hole in the exports.
        entry["line"] = ", ".join(sorted(entry.pop("lines")))
    incidents.sort(key=lambda entry: (entry["from_s"], entry["kind"], entry["receiver"], entry["line"]))
    return Coverage(sorted(holes, key=lambda h: (h.receiver, h.line, h.from_s)), incidents, spans, traffic)


def hours(coverage: Coverage, from_s: float, until_s: float) -> pa.Table:
    """One row per receiver line and hour: n and state covered, quiet, missing, outage, not_told_apart."""
    rows = []
    for (receiver, line), series in sorted(coverage.traffic.items()):
        mine = [h for h in coverage.holes if (h.receiver, h.line) == (receiver, line)]
        for hour_s in np.arange(from_s - from_s % HOUR_S, until_s, HOUR_S):
            n = series.between(hour_s, hour_s + HOUR_S)
            cut = [h for h in mine if min(h.until_s, hour_s + HOUR_S) - max(h.from_s, hour_s) >= HOUR_S / 2]
            held = sum(min(b, hour_s + HOUR_S) - max(a, hour_s) for a, b in coverage.spans[receiver, line]
                       if min(b, hour_s + HOUR_S) > max(a, hour_s))  # fmt: skip
            state = _state(cut, n) if held >= HOUR_S / 2 or n else "missing"
            rows.append((receiver, line, datetime.fromtimestamp(hour_s, UTC).replace(tzinfo=None), n, state))
    names = ["receiver", "line", "hour_utc", "n", "state"]
    types = [pa.string(), pa.string(), pa.timestamp("us"), pa.int64(), pa.string()]
    return pa.table({name: pa.array([row[i] for row in rows], types[i]) for i, name in enumerate(names)})


def shared_holes(coverage: Coverage, line_sets: Iterable[str]) -> list[tuple[str, float, float, str, str]]:
    """Holes common to all lines of a set: (line set, from, until, kind, incident id).

    An account that several lines can carry is excused only while none of them could. A line set is
    ``receiver/line`` texts joined by ``|``.
    """
    by_line: dict[str, list[Hole]] = defaultdict(list)
    for hole in coverage.holes:
        by_line[f"{hole.receiver}/{hole.line}"].append(hole)
    rows = []
    for line_set in sorted(set(line_sets)):
        names = line_set.split("|")
        edges = sorted({edge for name in names for h in by_line[name] for edge in (h.from_s, h.until_s)})
        for a, b in pairwise(edges):
            there = [next((h for h in by_line[n] if h.from_s <= a and h.until_s >= b), None) for n in names]
            known = [h for h in there if h is not None]
            if len(known) == len(names):
                rows.append((line_set, a, b, known[0].kind, known[0].incident_id))
    return rows


def _state(cut: list[Hole], n: int) -> str:
    kinds = {h.kind for h in cut}
    if "export_gap" in kinds and not n:
        return "missing"
    if kinds & {"receiver_outage", "receiver_line_outage"}:
        return "outage"
    if "not_told_apart" in kinds:
        return "not_told_apart"
    return "covered" if n else "quiet"


def _spoken_for(
    traffic: dict[Line, Series], sources: list[tuple[int, str, str, float, float]], as_of_s: float
) -> dict[Line, list[Span]]:
    """Covered spans per line: a source speaks for its lines from its first to its last signal.

    It speaks for a quiet sibling too, if that line was never exported without its receiver's others.
    """
    lines_in: dict[tuple[int, str], set[str]] = defaultdict(set)
    span_of: dict[int, Span] = {}
    for source, receiver, line, first, last in sources:
        lines_in[source, receiver].add(line)
        span_of[source] = (first, min(last, as_of_s))
    alone = {(receiver, next(iter(ls))) for (_, receiver), ls in lines_in.items() if len(ls) == 1}
    gap = {r: usual_gap(together([traffic[k] for k in ks])) for r, ks in _lines_of(traffic).items()}
    spans: dict[Line, list[Span]] = {}
    for receiver, line in sorted(traffic):
        speaking = [
            span_of[source]
            for (source, r), held in lines_in.items()
            if r == receiver and (line in held or (receiver, line) not in alone)
        ]
        wide = gap[receiver]
        rate = _rate(together([traffic[key] for key in _lines_of(traffic)[receiver]]))
        merged = _merge([(a - wide, min(b + wide, as_of_s)) for a, b in speaking if a <= as_of_s])
        spans[receiver, line] = _bridged(merged, rate, as_of_s)
    return spans


def _merge(spans: list[Span]) -> list[Span]:
    merged: list[Span] = []
    for a, b in sorted(spans):
        if merged and a <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(b, merged[-1][1]))
        else:
            merged.append((a, b))
    return merged


def _bridged(spans: list[Span], rate: float, as_of_s: float) -> list[Span]:
    """Spans joined over stretches too short and too quiet to be called a hole; the last one up to ``as_of``."""
    joined: list[Span] = []
    for a, b in spans:
        if joined and _is_short(a - joined[-1][1], rate):
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    if joined and _is_short(as_of_s - joined[-1][1], rate):
        joined[-1] = (joined[-1][0], as_of_s)
    return joined


def _is_short(stretch_s: float, rate: float) -> bool:
    return stretch_s <= BRIDGE_S and stretch_s * rate <= BRIDGE_EXPECTED


def _rate(series: Series) -> float:
    """Signals per second of a stream over its whole length."""
    span = float(series.last[-1] - series.first[0])
    return float(series.count.sum()) / span if span > 0 else 0.0


def _outside(covered: list[Span], first_s: float, until_s: float) -> list[Span]:
    """What lies in [first_s, until_s) and in no covered span."""
    edge, left = first_s, []
    for a, b in covered:
        if a > edge:
            left.append((edge, min(a, until_s)))
        edge = max(edge, b)
    if edge < until_s:
        left.append((edge, until_s))
    return [(a, b) for a, b in left if b - a >= SHORTEST_S]


def _lines_of(traffic: dict[Line, Series]) -> dict[str, list[Line]]:
    lines: dict[str, list[Line]] = defaultdict(list)
    for receiver, line in sorted(traffic):
        lines[receiver].append((receiver, line))
    return lines


def _by_receiver(events: Iterable[tuple[str, float]]) -> dict[str, list[float]]:
    found: dict[str, list[float]] = defaultdict(list)
    for receiver, at in events:
        found[receiver].append(at)
    return found


def _which_outage(silence: Silence, own: list[float], failed: list[float]) -> str:
    says_so = any(silence.from_s - _SAYS_SO_S <= at <= silence.until_s + _SAYS_SO_S for at in own)
    backlog = sum(silence.until_s <= at <= silence.until_s + BACKLOG_S for at in failed) >= _BACKLOG_EVENTS
    return "receiver_outage" if says_so or backlog else "not_told_apart"


def _overlap(one: Silence, other: Silence) -> bool:
    return one.from_s < other.until_s and other.from_s < one.until_s


def _add(
    holes: list[Hole], incidents: list[dict[str, Any]], kind: str, receiver: str, lines: list[str],
    silence: Silence, as_of_s: float, *, clock: bool = False,
) -> None:  # fmt: skip
    same = next(
        (
            e for e in incidents
            if kind == "export_gap" and e["kind"] == kind and e["receiver"] == receiver
            and abs(e["from_s"] - silence.from_s) < HOUR_S and abs(e["until_s"] - silence.until_s) < HOUR_S
        ),
        None,
    )  # fmt: skip
    if same is None:
        text = f"{kind}|{receiver}|{min(lines) if kind != 'receiver_outage' else ''}|{silence.from_s:.0f}"
        same = {
            "incident_id": "I-" + hashlib.sha256(text.encode()).hexdigest()[:8], "kind": kind, "receiver": receiver,
            "lines": set(), "from_s": silence.from_s, "until_s": silence.until_s, "is_open": silence.is_open,
            "expected": silence.expected, "p": silence.p if kind != "export_gap" else None, "clock": clock,
        }  # fmt: skip
        incidents.append(same)
    same["lines"].update(lines)
    until_s = silence.until_s
    if silence.is_open and kind != "export_gap":
        until_s = min(as_of_s, silence.from_s + OPEN_EXCUSE_S)
    holes.extend(Hole(receiver, line, silence.from_s, until_s, kind, same["incident_id"]) for line in lines)
