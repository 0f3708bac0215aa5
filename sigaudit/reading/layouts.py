"""Layouts: how an export is cut and which of its columns is which. Data files, no code.

``plain`` is built in; a station adds its own as ``layouts/*.toml``. A layout is chosen by the first line or
lines of an export, never by its name, and only when exactly one fits. ``layout_files`` reads and checks the files.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from sigaudit.errors import LayoutAmbiguous, LayoutUnknown
from sigaudit.reading import patterns
from sigaudit.reading.content import UTF8_MARK
from sigaudit.reading.records import Dialect, decoded

__all__ = ["FIELDS", "Bound", "Column", "Constant", "Layout", "NoFit", "bind", "choose"]

BUILT_IN = "plain"
# Without these a line says nothing of a site; a layout that names a column for one needs it in the header.
ESSENTIAL = ("account", "event", "qualifier", "code")

FIELDS = (
    "receiver", "line", "account", "event", "qualifier", "code", "partition", "zone", "format", "panel_time",
    "path", "origin", "called", "caller", "text",
)  # fmt: skip
_FIRST_LINES = 200  # of which the share counts that match a layout's pattern


@dataclass(frozen=True)
class Constant:
    """A field that has the same value on every line."""

    value: str


Column = str | int | Constant


@dataclass(frozen=True)
class Layout:
    """One layout as written. Columns are header names, numbers from 1 or names of groups.

    pattern: what a whole line must match, '' where lines are cut at a delimiter; groups: its groups in order;
    ignore: found in lines that say nothing; share: of the first lines, how many must match.

    time_format: 'iso' or a strptime pattern; timezone: 'station' or a named zone; event_style: 'any'
    (E130 or 1130), 'qualified', 'digits', 'separate', 'sia' (two letters), 'contact_id' (16 digits); qualifiers:
    as written -> E, R or P; words: as written -> qualifier and code; prefix: what stands before every account.
    """

    id: str
    title: str
    file: str
    header: bool
    required: tuple[str, ...]
    first_line: str
    dialect: Dialect
    columns: int
    time_columns: tuple[Column, ...]
    time_format: str
    timezone: str
    fields: Mapping[str, Column]
    event_style: str
    qualifiers: Mapping[str, str]
    samples: Sequence[Mapping[str, Any]] = field(default=(), compare=False)
    pattern: str = ""
    groups: tuple[str, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    prefix: Column | None = None
    ignore: str = ""
    share: float = 0.0


class NoFit(Exception):
    """Why a layout does not fit a content; never leaves the reading wing."""


@dataclass(frozen=True)
class Bound:
    """A layout laid on one content: field -> position (from 1) or constant, '' where the content has none.

    header: the header line as it stands in the content, '' without one.
    """

    layout: Layout
    dialect: Dialect
    header: str
    time: tuple[int | Constant, ...]
    fields: Mapping[str, int | Constant]
    prefix: int | Constant = Constant("")


def bind(layout: Layout, head: bytes, *, chosen: bool = False) -> Bound:
    """The layout laid on a content that begins with ``head``. Raises NoFit with the reason.

    chosen: somebody has said that it is this layout, or the beginning of the content was read with it; then
    a pattern needs no sign in the first lines.
    """
    bound = _fitting(layout, head, chosen)
    return replace(bound, dialect=replace(bound.dialect, encodings=_encodings(layout, head)))


def _fitting(layout: Layout, head: bytes, chosen: bool) -> Bound:
    if layout.pattern and chosen:
        return _by_pattern(layout)
    first = _first_line(layout, head)
    if layout.first_line and not patterns.searched(layout.first_line, [first])[0]:
        raise NoFit(f"the first line does not match {layout.first_line!r}")
    if layout.pattern:
        _check_share(layout, head)
        return _by_pattern(layout)
    if not layout.header:
        cells = _cells(layout, first)
        wanted = [c for c in (*layout.time_columns, *layout.fields.values(), layout.prefix) if isinstance(c, int)]
        if len(cells) < max(wanted, default=1):
            raise NoFit(f"the first line has {len(cells)} fields, column {max(wanted)} is wanted")
        if layout.columns and len(cells) != layout.columns:
            raise NoFit(f"the first line has {len(cells)} fields, not {layout.columns}")
        most = layout.columns or 1 << 30
        return _bound(layout, "", (layout.columns or max(wanted, default=1), most), {})
    names = [name.strip().casefold() for name in _cells(layout, first)]
    missing = [name for name in layout.required if name.strip().casefold() not in names]
    if missing:
        raise NoFit(f"the header has no column {', '.join(missing)}")
    used = [
        c.strip().casefold()
        for c in (*layout.time_columns, *layout.fields.values(), layout.prefix)
        if isinstance(c, str)
    ]
    # A mistyped column must not turn every account into the receiver itself; the others may be absent.
    essential = (*layout.time_columns, *(layout.fields.get(name) for name in ESSENTIAL), layout.prefix)
    absent = sorted({c for c in essential if isinstance(c, str) and c.strip().casefold() not in names})
    if absent:
        raise NoFit(f"the header has no column {', '.join(absent)}, which the layout reads")
    doubled = sorted({name for name in used if names.count(name) > 1})
    if doubled:
        raise NoFit(f"the header names {', '.join(doubled)} more than once")
    return _bound(layout, first, (len(names), len(names)), {name: i for i, name in enumerate(names, start=1)})


def _by_pattern(layout: Layout) -> Bound:
    return _bound(layout, "", (1, 1), {name.casefold(): i for i, name in enumerate(layout.groups, start=1)})


def _check_share(layout: Layout, head: bytes) -> None:
    """Raises NoFit unless enough of the first lines match; lines that say nothing do not count."""
    lines = [line.strip(patterns.BLANKS) for line in _whole_lines(layout, head)]
    lines = [line for line in lines if line][:_FIRST_LINES]
    match = patterns.whole(layout.pattern, lines)
    ignored = patterns.searched(layout.ignore, lines) if layout.ignore else [False] * len(lines)
    telling = sum(m or not i for m, i in zip(match, ignored, strict=True))
    if sum(match) < max(1 if layout.share else 0, layout.share * telling):
        raise NoFit(f"{sum(match)} of its first {telling} lines match the pattern, {layout.share:.0%} are wanted")


def _bound(layout: Layout, header: str, span: tuple[int, int], positions: Mapping[str, int]) -> Bound:
    def place(column: Column) -> int | Constant:
        return positions.get(column.strip().casefold(), Constant("")) if isinstance(column, str) else column

    dialect = layout.dialect
    return Bound(
        layout,
        Dialect(dialect.encodings, dialect.delimiter, dialect.quote, dialect.comment, span),
        header,
        tuple(place(column) for column in layout.time_columns),
        {name: place(column) for name, column in layout.fields.items()},
        place(layout.prefix) if layout.prefix is not None else Constant(""),
    )


def choose(layouts: Sequence[Layout], head: bytes, name: str, layout_id: str | None = None) -> Bound:
    """The one layout that fits. Raises LayoutUnknown (what was tried and why not) or LayoutAmbiguous."""
    if layout_id is not None:
        named = [layout for layout in layouts if layout.id == layout_id]
        if not named:
            known = ", ".join(sorted(layout.id for layout in layouts))
            raise LayoutUnknown(f"no layout is called {layout_id}", next_step=f"known are: {known}")
        layouts = named
    fitting, tried = [], []
    for layout in layouts:
        try:
            fitting.append(bind(layout, head, chosen=layout_id is not None))
        except NoFit as reason:
            tried.append(f"{layout.id} ({reason})")
    if not fitting:
        raise LayoutUnknown(
            f"{name}: no layout fits; tried {'; '.join(tried)}",
            next_step="see whether this is the exported log; `sigaudit layouts guess FILE` drafts a layout",
        )
    if len(fitting) > 1:
        ids = ", ".join(sorted(bound.layout.id for bound in fitting))
        raise LayoutAmbiguous(f"{name}: more than one layout fits: {ids}", next_step="choose one with --layout ID")
    return fitting[0]


def _first_line(layout: Layout, head: bytes) -> str:
    """The first line that is neither blank nor a comment. Raises NoFit."""
    for text in _texts(layout, head):
        if text is None:
            raise NoFit(f"the first line is not {' or '.join(layout.dialect.encodings)}")
        if text.strip() and not (layout.dialect.comment and text.startswith(layout.dialect.comment)):
            return text
    raise NoFit("it holds only blank lines")


def _whole_lines(layout: Layout, head: bytes) -> list[str]:
    """Lines that are no comment; '\\ufffd' stands for one that no encoding reads. The last is left out if cut."""
    end = head.rfind(b"\n") + 1
    lines = ["\ufffd" if text is None else text for text in _texts(layout, head[:end] if end else head)]
    comment = layout.dialect.comment
    return [line for line in lines if not (comment and line.startswith(comment))]


def _texts(layout: Layout, head: bytes) -> Iterator[str | None]:
    """Lines as text, None for one that no encoding of the layout reads."""
    encodings = _encodings(layout, head)
    for line in head.removeprefix(UTF8_MARK).split(b"\n"):
        yield decoded(line.removesuffix(b"\r"), encodings)


def _encodings(layout: Layout, head: bytes) -> tuple[str, ...]:
    """Those of the layout; a mark says that the content is UTF-8, whatever the layout says first."""
    named = layout.dialect.encodings
    return tuple(dict.fromkeys(("utf-8", *named))) if head.startswith(UTF8_MARK) else named


def _cells(layout: Layout, line: str) -> list[str]:
    dialect = layout.dialect
    if not dialect.quote:
        return line.split(dialect.delimiter)
    try:
        return next(csv.reader([line], delimiter=dialect.delimiter, quotechar=dialect.quote), [])
    except csv.Error as error:
        raise NoFit(f"the first line cannot be cut into fields: {error}") from error


def layout_paths(own: Path, shipped: Path) -> list[Path]:
    """Layout files in the order in which they are tried: the built-in ones, then the station's."""
    return [*sorted(shipped.glob("*.toml")), *(sorted(own.glob("*.toml")) if own.is_dir() else [])]
