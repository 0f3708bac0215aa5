"""A layout laid on one content: which column is which, where its header stands, and whether it fits at all.

A layout is chosen by the first lines of an export, never by its name, and only when exactly one fits.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import pyarrow as pa

from sigaudit.errors import LayoutAmbiguous, LayoutUnknown
from sigaudit.reading import patterns
from sigaudit.reading.content import UTF8_MARK
from sigaudit.reading.layouts import DECODED, ESSENTIAL, Column, Constant, Layout
from sigaudit.reading.records import Dialect, decoded

__all__ = ["Bound", "NoFit", "bind", "choose"]

_FORMS = {"frame": r'"\*?[A-Z0-9-]+"[0-9]{4}', "contact_id": "^ *([0-9A-F] *){16}$"}
_FIRST_LINES = 200  # of which the share counts that match a layout's pattern


_NONE = Constant("")


class NoFit(Exception):
    """Why a layout does not fit a content; never leaves the reading wing."""


@dataclass(frozen=True)
class Bound:
    """A layout laid on one content: field -> position (from 1) or constant, '' where the content has none.

    header: the header line as it stands in the content, of a worksheet without its address, '' without one;
    header_line: its number, lines before it say nothing; sheet: the worksheet it stands in.
    """

    layout: Layout
    dialect: Dialect
    header: str
    time: tuple[int | Constant, ...]
    fields: Mapping[str, int | Constant]
    prefix: int | Constant = _NONE
    header_line: int = 0
    sheet: str = ""

    @property
    def in_python(self) -> bool:
        """Whether records come cut already: decoded, or of several lines."""
        return bool(self.layout.decodes or self.dialect.begins)


def bind(layout: Layout, head: bytes, *, chosen: bool = False) -> Bound:
    """The layout laid on a content that begins with ``head``. Raises NoFit with the reason.

    chosen: somebody has said that it is this layout, or the beginning of the content was read with it; then
    a pattern needs no sign in the first lines.
    """
    bound = _fitting(layout, head, chosen)
    return replace(bound, dialect=replace(bound.dialect, encodings=_encodings(layout, head)))


def _fitting(layout: Layout, head: bytes, chosen: bool) -> Bound:
    if layout.patterns and chosen:
        return _by_pattern(layout)
    if layout.header:
        return _by_header(layout, head)
    _, first = next(_lines(layout, head), (0, ""))
    if not first:
        raise NoFit("it holds only blank lines")
    _check_first(layout, first)
    if layout.patterns:
        _check_share(layout, head)
        return _by_pattern(layout)
    cells = _cells(layout, first)
    wanted = [c for c in (*layout.time_columns, *layout.fields.values(), layout.prefix) if isinstance(c, int)]
    if len(cells) < max(wanted, default=1):
        raise NoFit(f"the first line has {len(cells)} fields, column {max(wanted)} is wanted")
    if layout.columns and len(cells) != layout.columns:
        raise NoFit(f"the first line has {len(cells)} fields, not {layout.columns}")
    most = layout.columns or 1 << 30
    return _bound(layout, (layout.columns or max(wanted, default=1), most), {})


def _check_first(layout: Layout, first: str) -> None:
    if layout.first_line and not patterns.searched(layout.first_line, [first])[0]:
        raise NoFit(f"the first line does not match {layout.first_line!r}")


def _by_header(layout: Layout, head: bytes) -> Bound:
    """The first line within reach that has the columns, or why the nearest one has not."""
    nearest = NoFit("it holds only blank lines")
    for number, line in islice(_lines(layout, head), layout.header_within):
        _check_first(layout, line)
        sheet, cells = "", _cells(layout, line)
        if layout.sheet is not None:
            sheet, _, row = (cells or [""])[0].rpartition("!")
            if not row.isdigit():
                raise NoFit("it is no workbook")
            if layout.sheet not in ("", sheet):
                nearest = NoFit(f"there is no worksheet {layout.sheet} near its beginning")
                continue
            cells, line = cells[1:], line.partition(",")[2]
        try:
            named = _named(layout, cells)
        except NoFit as reason:
            nearest = reason
            continue
        return replace(named, header=line, header_line=number, sheet=sheet)
    raise nearest


def _named(layout: Layout, cells: Sequence[str]) -> Bound:
    names = [name.strip().casefold() for name in cells]
    missing = [name for name in layout.required if name.strip().casefold() not in names]
    if missing:
        raise NoFit(f"the header has no column {', '.join(missing)}")
    columns = (*layout.time_columns, *layout.fields.values(), layout.prefix)
    used = [c.strip().casefold() for c in columns if isinstance(c, str)]
    # A mistyped column must not turn every account into the receiver itself; the others may be absent.
    essential = (*layout.time_columns, *(layout.fields.get(name) for name in ESSENTIAL), layout.prefix)
    absent = sorted({c for c in essential if isinstance(c, str) and c.strip().casefold() not in names})
    if absent:
        raise NoFit(f"the header has no column {', '.join(absent)}, which the layout reads")
    doubled = sorted({name for name in used if names.count(name) > 1})
    if doubled:
        raise NoFit(f"the header names {', '.join(doubled)} more than once")
    before = 0 if layout.sheet is None else 1  # the address of a row stands before its cells
    width = len(names) + before
    span = (width, width) if layout.sheet is None else (1, 1 << 30)
    return _bound(layout, span, {name: i for i, name in enumerate(names, start=1 + before)})


def _by_pattern(layout: Layout) -> Bound:
    # A group of the pattern comes before what is decoded.
    names = [*layout.groups, *(DECODED if layout.decodes else ())]
    positions: dict[str, int] = {}
    for i, name in enumerate(names, start=1):
        positions.setdefault(name.casefold(), i)
    return _bound(layout, (1, 1), positions)


def _check_share(layout: Layout, head: bytes) -> None:
    """Raises NoFit unless enough of the first lines match; lines that say nothing do not count."""
    lines = [line.strip(patterns.BLANKS) for line in _whole_lines(layout, head)]
    lines = [line for line in lines if line][:_FIRST_LINES]
    if layout.dialect.begins:
        match = patterns.searched(layout.dialect.begins, lines)
        lines = [line for i, line in enumerate(lines) if match[i]]
        if not lines and layout.share:
            raise NoFit("no line of its beginning begins a record")
        match = [True] * len(lines)
    else:
        match = _matching(layout, lines)
    ignored = patterns.searched(layout.ignore, lines) if layout.ignore else [False] * len(lines)
    telling = sum(m or not i for m, i in zip(match, ignored, strict=True))
    if sum(match) < max(1 if layout.share else 0, layout.share * telling):
        raise NoFit(f"{sum(match)} of its first {telling} lines match the pattern, {layout.share:.0%} are wanted")


def _matching(layout: Layout, lines: Sequence[str]) -> list[bool]:
    """Which lines match a pattern; where that leaves a message, it must look like one."""
    form = _FORMS.get(layout.decodes or layout.event_style)
    if form is None or not layout.message:
        found = [patterns.whole(pattern, lines) for pattern in layout.patterns]
        return [any(several) for several in zip(*found, strict=True)]
    cells = patterns.cells_of(layout.patterns, layout.groups, pa.array(lines, pa.string())).to_pylist()
    at = [name.casefold() for name in layout.groups].index(layout.message.casefold())
    looks = patterns.searched(form, [cell[at] if cell else "" for cell in cells])
    return [cell is not None and look for cell, look in zip(cells, looks, strict=True)]


def _bound(layout: Layout, span: tuple[int, int], positions: Mapping[str, int]) -> Bound:
    before = 0 if layout.sheet is None else 1

    def place(column: Column) -> int | Constant:
        if isinstance(column, str):
            return positions.get(column.strip().casefold(), Constant(""))
        return column + before if isinstance(column, int) else column

    return Bound(
        layout,
        replace(layout.dialect, fields=span),
        "",
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


def _lines(layout: Layout, head: bytes) -> Iterator[tuple[int, str]]:
    """Number and text of the lines that are neither blank nor a comment. Raises NoFit for one that is no text."""
    for number, text in enumerate(_texts(layout, head), start=1):
        if text is None:
            raise NoFit(f"the first line is not {' or '.join(layout.dialect.encodings)}")
        if text.strip() and not (layout.dialect.comment and text.startswith(layout.dialect.comment)):
            yield number, text


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
