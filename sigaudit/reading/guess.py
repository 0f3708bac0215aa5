"""A layout proposed for an unknown export, proven by running it on the export itself.

Columns, or the parts of lines that no delimiter cuts, are found by the shape of their values; what two readings fit
equally well is said, not hidden. Of the ways to understand a file the first that explains nearly all lines counts.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from sigaudit.errors import InputProblem, LayoutFaulty, LayoutUnknown
from sigaudit.reading import ingest, layout_files
from sigaudit.reading.binding import NoFit, bind
from sigaudit.reading.clock import is_named_zone
from sigaudit.reading.content import Content
from sigaudit.reading.guess_cut import MOST_BYTES, read_head, text_of
from sigaudit.reading.guess_delimited import Draft, delimited
from sigaudit.reading.guess_inside import holds_inside
from sigaudit.reading.guess_printed import PrintedDraft, printed
from sigaudit.reading.guess_sheet import sheet_of
from sigaudit.reading.layout_samples import SAMPLE_ZONE, check_samples
from sigaudit.reading.layouts import Layout
from sigaudit.reading.lines import head_of
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.opening import open_store
from sigaudit.store.relations import relation

__all__ = ["Proposal", "fitting", "guess"]

ID = "guessed"
_PREVIEW = 20
_ENOUGH = 0.98  # of the lines: no other way to understand them is tried
_SAMPLES = 3
_BY_HAND = "see whether this is the exported log, and write the layout by hand (README, layout files)"
_MISSING = {
    "time": "no time is found on most of the lines",
    "date": "the lines carry a time of day only; their date stands elsewhere, and no layout can join the two",
    "account": "nothing on the lines looks like the account",
    "event": "nothing on the lines looks like the event",
    "header": "no worksheet has a header line above its signals",
    "envelope": "the frames stand without the CRC and length in front of them, which tell whole frames from torn ones",
    "pattern": "the lines differ so much that no pattern takes them apart",
}
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

    Raises NothingToRead (no file, empty), InputProblem (no text, no such zone), LayoutUnknown (what
    is missing: time, account, event, or a pattern that takes the lines apart).
    """
    if timezone != "station" and not is_named_zone(timezone):
        raise InputProblem(f"{timezone!r} is no time zone", next_step='name one such as "Europe/Berlin"')
    name = path.as_posix()
    content = read_head(name, head_of(path, name, MOST_BYTES))
    text, encodings, doubts = text_of(content)
    workbook = _is_workbook(path, name)
    best: Proposal | None = None
    for draft in _from_workbook(name, text) if workbook else _drafts(name, text, _year_of(path)):
        with tempfile.TemporaryDirectory() as folder, suppress(LayoutUnknown):
            export = path if workbook else _written(Path(folder), content)
            found = _proven(Path(folder), name, export, draft, encodings, timezone, [*doubts, *draft.doubts])
            if best is None or found.explained > best.explained + 0.02:
                best = found
        if best is not None and best.explained > _ENOUGH:
            break
    if best is None:
        raise LayoutUnknown(f"{name}: a layout was drafted but explains no line", next_step=_BY_HAND)
    return best


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


def _drafts(name: str, text: str, year: str) -> Iterator[Draft | PrintedDraft]:
    """Ways to understand the text that have a time, an event and an account, the best first. Raises LayoutUnknown."""
    cut = delimited(text)
    last = isinstance(cut, str) or cut.labelled or holds_inside(text)
    if isinstance(cut, Draft) and not last:
        yield cut
    fixed = printed(text, year)
    if isinstance(fixed, PrintedDraft):
        yield fixed
    if isinstance(cut, Draft) and last:
        yield cut
    if isinstance(cut, str) and isinstance(fixed, str):
        missing = fixed if cut in ("", "time") or fixed in ("envelope", "date") else cut
        raise LayoutUnknown(f"{name}: {_MISSING[missing]}", next_step=_BY_HAND)


def _from_workbook(name: str, text: str) -> Iterator[Draft]:
    """The way to understand the rows of a workbook. Raises LayoutUnknown."""
    found = sheet_of(text)
    if isinstance(found, str):
        raise LayoutUnknown(f"{name}: {_MISSING[found]}", next_step=_BY_HAND)
    yield found


def _is_workbook(path: Path, name: str) -> bool:
    with Content(path, name) as content:
        return content.workbook


def _written(folder: Path, content: bytes) -> Path:
    path = folder / "export"
    path.write_bytes(content)
    return path


def _year_of(path: Path) -> str:
    """The year in which the file was last written."""
    return str(datetime.fromtimestamp(path.stat().st_mtime).year)


def _proven(
    folder: Path, name: str, export: Path, draft: Draft | PrintedDraft, encodings: tuple[str, ...], timezone: str,
    doubts: list[str],
) -> Proposal:  # fmt: skip
    """The draft as TOML, run on the content, with samples from it."""
    layouts = folder / "layouts"
    layouts.mkdir()
    place = layouts / f"{ID}.toml"
    place.write_text(draft.toml(ID, encodings, timezone, ()), encoding="utf-8", newline="\n")
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
    toml = draft.toml(ID, encodings, timezone, _samples(signals))
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


def _samples(signals: Sequence[Mapping[str, Any]]) -> list[tuple[str, dict[str, str]]]:
    """(line, what it gives) of three lines, of different events where there are."""
    several = Counter(row["line_no"] for row in signals)
    plain = [row for row in signals if _clean(row["raw"]) and several[row["line_no"]] == 1]
    kinds: dict[str, Mapping[str, Any]] = {}
    for row in plain:
        kinds.setdefault(row["event_raw"], row)
    chosen = [*kinds.values(), *(row for row in plain if row not in list(kinds.values())[:_SAMPLES])][:_SAMPLES]
    given = ("received_wall", "receiver", "line", "account", "event_raw", "qualifier", "code", "partition", "zone")
    return [(row["raw"], {name: row[name] for name in given}) for row in chosen]


def _clean(text: str) -> bool:
    return text.replace("\t", "").isprintable()
