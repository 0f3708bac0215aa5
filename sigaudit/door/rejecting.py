"""The command that lists rejected lines as work: what, how many, where, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sigaudit.door.options import Json, Workspace, app, opened
from sigaudit.errors import UsageProblem

if TYPE_CHECKING:
    from sigaudit.store.rejected import Pile

_WIDTH = 100  # of a sample on the terminal; --json has the whole line
_DAMAGED = "see whether the group of the pattern holds the whole frame; a damaged frame stays rejected"
_KEY = "give the right key under [dc09.keys] in sigaudit.toml"
# What can be done about a line, by its reason.
NEXT: Mapping[str, str] = {
    "too_few_fields": "see whether text.delimiter and text.quote are right; a torn line stays rejected",
    "too_many_fields": "see whether text.delimiter and text.quote are right",
    "no_match": "let pattern.line match it, or name it in text.ignore if it says nothing",
    "quote_unclosed": 'see whether text.quote is right; with quote = "" it is a letter like others',
    "undecodable": "name the export's encoding in text.encoding",
    "time_missing": "see whether time.column is right; a line without a time stays rejected",
    "time_unreadable": "see whether time.column and time.format are right",
    "account_shape": "see whether fields.account is right; an account is one word",
    "message_unreadable": "see whether the column of the message is right; a damaged message stays rejected",
    "event_missing": "see whether the column of the event is right; a check-in is one by its format",
    "frame_no_key": _KEY,
    "frame_key_length": _KEY,
    "frame_wrong_key": _KEY,
    "frame_needs_extra": "install sigaudit with its extra dc09",
}
_BESIDE_LAYOUTS = ("frame_no_key", "frame_key_length", "frame_wrong_key", "frame_needs_extra")


@app.command()
def rejects(
    reason: Annotated[str, typer.Option("--reason", help="Only lines refused for this reason.")] = "",
    source: Annotated[str, typer.Option("--source", help="Only this export, by its name or the end of it.")] = "",
    limit: Annotated[int, typer.Option("--limit", min=0, help="List so many of the lines themselves.")] = 0,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """List the lines that could not be used: by export and reason, with samples and what to do.

    Example: sigaudit rejects --reason time_unreadable --limit 20
    """
    from sigaudit import console
    from sigaudit.reading.parse import REASONS
    from sigaudit.store import rejected

    if reason and reason not in REASONS:
        raise UsageProblem(f"{reason} is no reason", next_step=f"reasons are {', '.join(REASONS)}")
    settings, store = opened(workspace)
    piles = rejected.piles(store, settings.memory_limit, reason=reason, source=source)
    lines = rejected.lines(store, settings.memory_limit, limit, reason=reason, source=source) if limit else []
    if json:
        document: dict[str, Any] = {"rejects": [_as_dict(pile, REASONS) for pile in piles]}
        console.document("rejects", {**document, "lines": lines} if limit else document)
        return
    for text in _listed(lines) if limit else _told(piles, REASONS):
        console.out(text)
    total = sum(pile.n for pile in piles)
    files = len({pile.source.source_id for pile in piles})
    console.note(f"{total} lines of {files} exports could not be used; they are kept")


def _told(piles: list[Pile], reasons: Mapping[str, str]) -> Iterator[str]:
    from sigaudit.console import visible

    for pile in piles:
        name = visible(pile.source.name)
        where = f"line {pile.first_line}" if pile.n == 1 else f"lines {pile.first_line} to {pile.last_line}"
        yield f"{name}: {pile.n} {pile.reason}, {where}"
        yield f"  {reasons.get(pile.reason, pile.reason)}"
        for line_no, raw in pile.samples:
            yield f"  {name.rpartition('/')[2]}:{line_no}  {visible(raw, _WIDTH)}"
        yield f"  next: {_next(pile)}"


def _listed(lines: list[dict[str, Any]]) -> Iterator[str]:
    from sigaudit.console import visible

    for line in lines:
        yield f"{visible(line['source'])}:{line['line_no']}  {line['reason']}  {visible(line['raw'], _WIDTH)}"


def _as_dict(pile: Pile, reasons: Mapping[str, str]) -> dict[str, Any]:
    return {
        "source": pile.source.name,
        "layout": pile.source.layout,
        "reason": pile.reason,
        "meaning": reasons.get(pile.reason, pile.reason),
        "n": pile.n,
        "first_line": pile.first_line,
        "last_line": pile.last_line,
        "samples": [{"line_no": line_no, "raw": raw} for line_no, raw in pile.samples],
        "next": _next(pile),
    }


def _next(pile: Pile) -> str:
    from sigaudit.reading.layouts import BUILT_IN

    advice = NEXT.get(pile.reason, _DAMAGED)
    if pile.reason in _BESIDE_LAYOUTS:
        return f"{advice}; then: sigaudit ingest --again"
    if pile.source.layout == BUILT_IN:
        return f"in a layout of your own, {advice}; then: sigaudit ingest --again --layout ID"
    return f"in layout {pile.source.layout}, {advice}; then: sigaudit ingest --again"
