"""Layouts: how an export is cut and which of its columns is which. Data files, no code.

``plain`` is built in; a station adds its own as ``layouts/*.toml``. ``layout_files`` reads and checks the files,
``binding`` lays a layout on a content.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sigaudit.reading.records import Dialect

__all__ = ["BUILT_IN", "DECODED", "ESSENTIAL", "FIELDS", "TOLD", "Column", "Constant", "Layout", "layout_paths"]

BUILT_IN = "plain"
# Without these a line says nothing of a site; a layout that names a column for one needs it in the header.
ESSENTIAL = ("account", "event", "qualifier", "code")

FIELDS = (
    "receiver", "line", "account", "event", "qualifier", "code", "partition", "zone", "format", "panel_time",
    "path", "origin", "called", "caller", "text", "sequence",
)  # fmt: skip
# What a frame or a text of event blocks tells of a field, in this order, behind the groups of the pattern. The last
# two are no fields: all that was decoded, which tells equal lines from others, and the account prefix of a frame.
TOLD = ("account", "event", "partition", "zone", "format", "panel_time", "receiver", "text", "sequence")
DECODED = (*(f"told_{name}" for name in TOLD), "told_whole", "frame_prefix")


@dataclass(frozen=True)
class Constant:
    """A field that has the same value on every line."""

    value: str


Column = str | int | Constant


@dataclass(frozen=True)
class Layout:
    """One layout as written. Columns are header names, numbers from 1 or names of groups.

    patterns: the first of them that a whole record matches cuts it, none where lines are cut at a delimiter;
    groups: the names of all their groups; ignore: found in lines that say nothing; share: of the first lines, how
    many must match; dialect.begins: how a record of several lines begins.
    decodes: '' or what the group ``message`` holds, a 'frame' (DC-09) or 'blocks' (SIA events); frame_account:
    which account of a frame is meant where it names two, 'data' or 'header'.
    sheet: None where the export is text, else the worksheet, '' for the first whose header fits;
    header_within: among how many lines the header is looked for.

    time_format: 'iso' or a strptime pattern; timezone: 'station' or a named zone; event_style: 'any'
    (E130 or 1130), 'qualified', 'digits', 'separate', 'sia' (two letters), 'contact_id' (16 digits), 'sia_blocks';
    qualifiers: as written -> E, R or P; words: as written -> qualifier and code; prefix: what stands before every
    account; width: digits that an account of digits alone has at least, 0 = as written.
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
    patterns: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    prefix: Column | None = None
    width: int = 0
    ignore: str = ""
    share: float = 0.0
    decodes: str = ""
    message: str = ""
    frame_account: str = "data"
    sheet: str | None = None
    header_within: int = 1


def layout_paths(own: Path, shipped: Path) -> list[Path]:
    """Layout files in the order in which they are tried: the built-in ones, then the station's."""
    return [*sorted(shipped.glob("*.toml")), *(sorted(own.glob("*.toml")) if own.is_dir() else [])]
