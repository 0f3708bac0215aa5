"""A layout proposed for an unknown export, proven by running it on the export itself.

Columns are found by the shape of their values; what two readings fit equally well is said, not hidden. Only
delimited text is guessed: a printer's fixed text or frames of a protocol need a layout written by hand.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from sigaudit.errors import InputProblem, LayoutFaulty, LayoutUnknown
from sigaudit.reading import ingest, layout_files
from sigaudit.reading.binding import NoFit, bind
from sigaudit.reading.clock import is_named_zone
from sigaudit.reading.guess_columns import Roles, roles
from sigaudit.reading.guess_cut import MOST_BYTES, Cut, cuts, read_head, text_of
from sigaudit.reading.guess_events import EventGuess, events
from sigaudit.reading.guess_times import TimeGuess, times
from sigaudit.reading.guess_toml import written
from sigaudit.reading.guess_words import hint, said
from sigaudit.reading.layout_samples import SAMPLE_ZONE, check_samples
from sigaudit.reading.layouts import Layout
from sigaudit.reading.lines import head_of
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.opening import open_store
from sigaudit.store.relations import relation

__all__ = ["Proposal", "fitting", "guess"]

ID = "guessed"
_PREVIEW = 20
_SAMPLES = 3
_FIXED = "looks like fixed text; a pattern layout is needed"
_SEEN = (
    "line_no", "received_wall", "receiver", "line", "account", "event_raw", "qualifier", "code", "partition", "zone",
    "format", "text",
)  # fmt: skip


@dataclass(frozen=True)
class Proposal:
    """toml: the layout as text; preview: the first 20 signals as understood; explained: share of the lines that say

    something which become signals, 0 to 1, of the first 2 MiB; unsure: sentences; layout: the TOML read back.
    """

    toml: str
    preview: list[dict[str, Any]]
    explained: float
    unsure: list[str]
    layout: Layout


@dataclass(frozen=True)
class Draft:
    """One way to understand a cut. names: header words by position, '' without; skipped: header kept as comment."""

    cut: Cut
    header: bool
    names: tuple[str, ...]
    time: TimeGuess
    event: EventGuess
    roles: Roles
    comment: str
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Receivers:
    """Stands for a station whose only layout is the proposal."""

    layouts_dir: Path
    timezone: str = SAMPLE_ZONE
    own_accounts: Collection[str] = field(default=())
    dc09_keys: Mapping[str, str] = field(default_factory=dict)

    def group_of(self, receiver: str, line: str = "") -> str:
        return "main"


def guess(path: Path, *, timezone: str = "station") -> Proposal:
    """A layout for the export at ``path``. timezone: what the layout says, 'station' or a named zone.

    Raises NothingToRead (no file, empty), InputProblem (no text, no such zone), LayoutUnknown (not delimited, or
    time, account or event cannot be found).
    """
    if timezone != "station" and not is_named_zone(timezone):
        raise InputProblem(f"{timezone!r} is no time zone", next_step='name one such as "Europe/Berlin"')
    name = path.as_posix()
    content = read_head(name, head_of(path, name, MOST_BYTES))
    text, encodings, doubts = text_of(content)
    draft = _draft(name, text)
    doubts += _doubts(draft)
    with tempfile.TemporaryDirectory() as folder:
        return _proven(Path(folder), name, content, draft, encodings, timezone, doubts)


def fitting(path: Path, layouts: Path) -> list[str]:
    """Ids of the built-in layouts and those in the folder ``layouts`` that fit the file already.

    None where a layout file is faulty: the proposal may be on its way into just that file. Raises as ``guess``.
    """
    head = head_of(path, path.as_posix())
    try:
        known = layout_files.load(layouts)
    except LayoutFaulty:
        return []
    found = []
    for layout in known:
        with suppress(NoFit):
            bind(layout, head)
            found.append(layout.id)
    return found


def _draft(name: str, text: str) -> Draft:
    """The first cut that has a time, an event and an account. Raises LayoutUnknown."""
    missing = ""
    for cut in cuts(text):
        found = _understood(cut)
        if isinstance(found, Draft):
            return found
        missing = missing or found
    if not missing or missing == "time":
        raise LayoutUnknown(f"{name}: {_FIXED}", next_step="see README, layouts; `sigaudit layouts test` tries it")
    raise LayoutUnknown(
        f"{name}: the lines are delimited, but no column looks like the {missing}",
        next_step="see whether this is the exported log, and write the layout by hand (README, layouts)",
    )


def _understood(cut: Cut) -> Draft | str:
    """The columns of a cut, or which field was not found."""
    found = times(cut.rows)
    if not found:
        return "time"
    header, names, comment, doubts = _header(cut, found)
    rows = cut.rows if header or comment != cut.comment else (cut.first_cells, *cut.rows)
    rows = tuple(row for row in rows if len(row) == cut.width)
    time, other, unclear = _received(found, names)
    busy = {at for one in found for at in one.columns}
    free = [at for at in range(cut.width) if at not in busy]
    best: tuple[float, EventGuess, Roles] | None = None
    for event in events(rows, free, names)[:4]:
        left = [at for at in free if at not in event.columns.values()]
        which = roles(rows, left, names, event.columns.get("event", event.columns.get("code", 0)))
        worth = event.score + 0.1 * any(_hint_event(names[at]) for at in event.columns.values())
        if "account" in which.fields and (best is None or worth > best[0]):
            best = (worth, event, which)
    if best is None:
        return "event" if not events(rows, free, names) else "account"
    _, event, which = best
    fields = dict(which.fields)
    if other is not None and len(other.columns) == 1:
        fields["panel_time"] = other.columns[0]
    return Draft(cut, header, names, time, event, replace(which, fields=fields), comment, (*doubts, *unclear))


def _hint_event(name: str) -> bool:
    """Whether a header word speaks of events."""
    return any(word in name.casefold() for word in ("event", "code", "cid", "signal", "evt"))


def _header(cut: Cut, found: Sequence[TimeGuess]) -> tuple[bool, tuple[str, ...], str, list[str]]:
    """Whether the first line is a header, the names, how comments begin, doubts."""
    cells = [cell.strip() for cell in cut.first_cells]
    nothing = ("",) * cut.width
    at = [i for one in found for i in one.columns]
    # A header names the time's column in words; a time, even a damaged one, is mostly digits.
    dated = any(i < len(cells) and len(re.findall(r"\d", cells[i])) > 3 for i in at)
    named = [cell for cell in cells if re.search(r"[^\W\d_]", cell)]
    if dated or len(named) < 0.6 * len(cells) or not named:
        return False, nothing, cut.comment, []
    if len(cells) == cut.width:
        return True, tuple(cells), cut.comment, []
    said_ = "The first line names fewer or more columns than the lines have; it is passed over as a comment."
    if cut.comment:
        said_ = "The first line names fewer or more columns than the lines have."
        return False, nothing, cut.comment, [said_]
    return False, nothing, cut.first[:40].rstrip(), [said_]


def _received(found: Sequence[TimeGuess], names: Sequence[str]) -> tuple[TimeGuess, TimeGuess | None, list[str]]:
    """The receiver's time, a panel time beside it, doubts. The receiver's own runs on with the lines."""

    def worth(one: TimeGuess) -> float:
        words = [names[at] for at in one.columns]
        spoken = any(hint("received", word) for word in words) - any(hint("panel_time", word) for word in words)
        return one.order + 0.5 * (one.filled > 0.98) + 0.3 * spoken

    ranked = sorted(found, key=lambda one: (-worth(one), one.columns))
    best = ranked[0]
    if len(ranked) == 1:
        return best, None, []
    second = ranked[1]
    doubts = []
    if worth(best) - worth(second) < 0.1:
        doubts.append(
            f"{said(best.columns[0], names)} and {said(second.columns[0], names)} both hold times; "
            "the first is taken as the receiver's."
        )
    panel = next(
        (one for one in ranked[1:] if any(hint("panel_time", names[at]) for at in one.columns)),
        second if not names[second.columns[0]] and worth(best) - worth(second) >= 0.1 else None,
    )
    return best, panel, doubts


def _doubts(draft: Draft) -> list[str]:
    """What is doubtful about a draft, as sentences."""
    doubts = [*draft.doubts, *draft.event.doubts, *draft.roles.doubts]
    forms = draft.time.forms
    if len(forms) > 1:
        doubts.insert(0, f"The date can be read as {' or as '.join(forms)}: {forms[0]} is taken; see which is right.")
    rows = len(draft.cut.rows)
    if rows < 12:
        doubts.append(f"There are only {rows} lines to judge by.")
    return doubts


def _proven(
    folder: Path, name: str, content: bytes, draft: Draft, encodings: tuple[str, ...], timezone: str,
    doubts: list[str],
) -> Proposal:  # fmt: skip
    """The draft as TOML, run on the content, with samples from it."""
    layouts = folder / "layouts"
    layouts.mkdir()
    place = layouts / f"{ID}.toml"
    place.write_text(written(draft, ID, encodings, timezone, ()), encoding="utf-8", newline="\n")
    export = folder / "export"
    export.write_bytes(content)
    store = open_store(folder / "store", create=True)
    try:
        result = ingest.run(store, _Receivers(layouts), [export], layout_id=ID)
    except LayoutUnknown as error:
        raise LayoutUnknown(
            f"{name}: a layout was drafted but does not fit the file's first line",
            next_step="take away what stands above the first data line",
        ) from error
    total = result.sum
    signals = _signals(relation(store, "signals"))
    if not signals:
        raise LayoutUnknown(f"{name}: a layout was drafted but explains no line", next_step="write it by hand")
    explained = (total.signals + total.repeats) / (total.lines - total.skipped)
    if explained < 0.9:
        doubts.append(f"Only {explained:.0%} of the lines become signals under this layout.")
    toml = written(draft, ID, encodings, timezone, _samples(signals, draft))
    place.write_text(toml, encoding="utf-8", newline="\n")
    layout = layout_files.read(place)
    check_samples(layout)
    preview = [{column: row[column] for column in _SEEN} for row in signals[:_PREVIEW]]
    return Proposal(toml, preview, explained, doubts, layout)


def _signals(source: str) -> list[Mapping[str, Any]]:
    """The first signals in the order of the lines."""
    con = engine.connect(threads=1)
    try:
        rows: list[Mapping[str, Any]] = engine.arrow(
            con, f"select * from ({source}) order by line_no limit 400"
        ).to_pylist()
        return rows
    finally:
        con.close()


def _samples(signals: Sequence[Mapping[str, Any]], draft: Draft) -> list[tuple[str, dict[str, str]]]:
    """(line, what it gives) of three lines, of different events where there are."""
    plain = [row for row in signals if _clean(row["raw"])]
    kinds: dict[str, Mapping[str, Any]] = {}
    for row in plain:
        kinds.setdefault(row["event_raw"], row)
    chosen = [*kinds.values(), *(row for row in plain if row not in list(kinds.values())[:_SAMPLES])][:_SAMPLES]
    given = ("received_wall", "receiver", "line", "account", "event_raw", "qualifier", "code", "partition", "zone")
    return [(row["raw"], {name: row[name] for name in given}) for row in chosen]


def _clean(text: str) -> bool:
    return text.replace("\t", "").isprintable()
