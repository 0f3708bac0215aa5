"""Cards and findings as text for a terminal and as plain data for JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sigaudit.console import visible
from sigaudit.judging.cards import Card
from sigaudit.reading.ingest import IngestResult

_MOST = 40


def card_dict(card: Card) -> dict[str, Any]:
    """A card as plain data."""
    hidden = ("sql", "sql_file", "card_file", "limits")
    told = {name: value for name, value in vars(card).items() if name not in hidden}
    return {**told, "limits": {name: vars(limit) for name, limit in card.limits.items()}}


def card_lines(card: Card) -> Iterator[str]:
    """A card as lines of text."""
    yield f"{card.id}: {card.title}"
    yield f"  asks         {card.question}"
    yield f"  proves not   {card.not_proof}"
    yield f"  needs        {card.needs}"
    yield f"  severity     {', '.join(f'{k} {v}' for k, v in card.severity.items())}; action {card.action}"
    if card.finest_s:
        yield f"  times        at least as fine as {card.finest_s:g} s, else not judged"
    for limit in card.limits.values():
        by_type = "".join(f", {value:g} for {name}" for name, value in limit.by_type.items())
        value = f"{limit.name} = {limit.default:g} {limit.unit}{by_type}"
        yield f"  limit        {value} ({limit.standing}: {limit.source})"
    for name, items in (("bad", card.bad_history), ("good", card.good_history), ("look-alike", card.look_alikes)):
        for item in items:
            yield f"  {name:<12} {item}"
    yield f"  next         {card.next_step}"
    if card.cautions:
        yield f"  cautions     {', '.join(card.cautions)}"


def as_dict(
    finding: Mapping[str, Any],
    card: Card,
    evidence: Sequence[Mapping[str, Any]],
    incidents: Sequence[Mapping[str, Any]],
    weighed: Sequence[Mapping[str, Any]],
) -> dict[str, Any]:
    """An explained finding as plain data."""
    return {
        "finding": dict(finding),
        "card": card_dict(card),
        "evidence": [dict(entry) for entry in evidence],
        "incidents": [dict(incident) for incident in incidents],
        "weighed": [dict(entry) for entry in weighed],
    }


def lines(
    finding: Mapping[str, Any], card: Card, evidence: Sequence[Mapping[str, Any]],
    incidents: Sequence[Mapping[str, Any]], weighed: Sequence[Mapping[str, Any]], zone: ZoneInfo,
) -> Iterator[str]:  # fmt: skip
    """An explained finding as lines of text: what, against what, weighed how, excuses, log lines, what next."""
    f = finding
    yield f"{f['finding_id']}  {f['account']} {f['site']}  {f['check']} {f['subject']}".rstrip()
    yield f"{f['severity']}, {f['confidence']}; {f['status']}, {f['weeks_on_list']} week(s) on the list"
    yield f["sentence"]
    yield f"asks      {card.question}"
    yield f"measured  {_number(f['measured'])} {f['unit']}"
    origin = f"{f['limit_source']} ({f['limit_standing']}, {f['limit_where']})"
    yield f"limit     {_number(f['limit'])} {f['unit']}: {origin}"
    yield from (f"weighed   {said['words']}" for said in weighed)
    yield f"no proof  {f['not_proof']}"
    for look_alike in card.look_alikes:
        yield f"rival     {look_alike}"
    if f["excused_count"]:
        yield f"excused   {f['excused_count']}"
        for incident in incidents:
            where = incident.get("shared") or f"receiver {incident['receiver']} line {incident['line']}"
            span = f"{_at(incident['from_utc'], zone)} to {_at(incident['until_utc'], zone)}"
            yield f"          {incident['incident_id']} {incident['kind']} {where}, {span}"
    yield f"evidence  {len(evidence)} rows, times in {zone.key}"
    shown = list(evidence) if len(evidence) <= _MOST else [*evidence[: _MOST // 2], None, *evidence[-_MOST // 2 :]]
    for entry in shown:
        if entry is None:
            yield f"  ... {len(evidence) - _MOST} rows left out here; --json has them all"
            continue
        place = f"{entry['source']}:{entry['line_no']}" if entry["line_no"] else entry["role"]
        also = "".join(f" (also {other['source']}:{other['line_no']})" for other in entry["also_in"])
        said = entry["raw"] or f"{entry['label']} {entry['note']}"
        yield f"  {_at(entry['at_utc'], zone)}  {place}{also}  {visible(said)}"
    yield f"next      {card.next_step}"


def ingest_lines(result: IngestResult) -> Iterator[str]:
    """What an ingest came to: files with something to say, files refused, and the sum as the last line."""
    for _, problem in result.problems:
        yield f"error[{problem.code}]: {problem.message}"
        if problem.next_step:
            yield f"  next: {problem.next_step}"
    yield from result.messages
    for source in result.sources:
        for said in source.notes:
            yield f"{source.name}: {said}"
        if source.sum.rejects and source.state != "held":
            yield f"{source.name}: {source.sum.rejects} lines could not be used; see: sigaudit rejects"
    if not result.sources:
        return
    fresh = [source for source in result.sources if source.state != "held"]
    total = sum((source.sum for source in fresh), type(result.sum)())
    held = len(result.sources) - len(fresh)
    known = f" ({held} held already)" if held else ""
    what = "files" if all(source.state != "again" for source in fresh) else "files, rejects read again"
    yield (
        f"{len(fresh)} {what}{known}: {total.lines} lines = {total.signals} signals + {total.repeats} held already"
        f" + {total.rejects} rejects + {total.skipped} skipped"
    )


def ingest_dict(result: IngestResult) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "sources": [
            {"name": s.name, "state": s.state, "layout": s.layout, "notes": list(s.notes), **vars(s.sum)}
            for s in result.sources
        ],
        "problems": [{"name": n, "code": p.code, "message": p.message} for n, p in result.problems],
        "messages": list(result.messages),
    }


def _at(at: datetime | None, zone: ZoneInfo) -> str:
    return "still open" if at is None else at.replace(tzinfo=UTC).astimezone(zone).strftime("%Y-%m-%d %H:%M:%S")


def _number(value: float | None) -> str:
    return "?" if value is None else f"{value:.2f}".rstrip("0").rstrip(".")
