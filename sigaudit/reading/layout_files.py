"""Reads layout files and refuses faulty ones with file, key and what was expected."""

from __future__ import annotations

import re
import tomllib
from difflib import get_close_matches
from pathlib import Path

from sigaudit.errors import LayoutFaulty
from sigaudit.reading import patterns
from sigaudit.reading.layout_answers import Answers
from sigaudit.reading.layout_parts import HAS
from sigaudit.reading.layouts import DECODED, FIELDS, TOLD, Column, Constant, Layout, layout_paths
from sigaudit.reading.records import Dialect
from sigaudit.store import shipped

__all__ = ["SHEET_HEADER", "load", "read"]

_MOST_LINES = 20  # house: a printed record
SHEET_HEADER = 50  # house: titles and blank rows above a worksheet's table
_SHARE = 0.5  # house: a log has torn lines and its printer's own words; another kind of log matches nowhere


def load(own: Path) -> list[Layout]:
    """The built-in layouts and those of a station's folder. Raises LayoutFaulty."""
    layouts: list[Layout] = []
    for path in layout_paths(own, shipped.data() / "layouts"):
        layout = read(path)
        for other in layouts:
            if other.id == layout.id:
                raise LayoutFaulty(
                    f"{path.name}: id: {layout.id!r} is taken by {other.file}", next_step="give it another id"
                )
        layouts.append(layout)
    return layouts


def read(path: Path) -> Layout:
    """One layout file. Raises LayoutFaulty naming file and line or key."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise LayoutFaulty(f"{path.name}: byte {error.start} is no UTF-8", next_step="save it as UTF-8") from error
    except OSError as error:
        raise LayoutFaulty(f"{path.name}: cannot be read: {error.strerror}", next_step="see its rights") from error
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LayoutFaulty(f"{path.name}: {error}", next_step="mend the line named") from error
    return _File(path.name, text, table).layout()


class _File(Answers):
    """Makes the layout of the parts."""

    def layout(self) -> Layout:
        self.part("")
        kind = self.text("", "kind", "delimited")
        if kind not in HAS:
            raise self.fault("kind", f"expected one of {', '.join(HAS)}")
        for name in sorted({name for names in HAS.values() for name in names} - set(HAS[kind])):
            part, _, key = name.partition(".")
            if key in self.part(part):
                others = " or ".join(f'"{other}"' for other in HAS if name in HAS[other])
                raise self.fault(name, f"is for layouts of the kind {others}")
        identity = self.text("", "id")
        if not re.fullmatch(r"[a-z][a-z0-9_]*", identity):
            raise self.fault("id", "expected small letters, digits and _, a letter first")
        if kind in ("delimited", "sheet"):
            return self.by_columns(identity, kind)
        return self.by_pattern(identity, kind)

    def by_columns(self, identity: str, kind: str) -> Layout:
        """A layout whose columns stand side by side: between delimiters, or in a worksheet."""
        header = self.part("text").get("header", True)
        if not isinstance(header, bool):
            raise self.fault("text.header", "expected true or false")
        columns = self.whole("text", "columns", 0, 0)
        fields = {name: self.column("fields", name, value, header) for name, value in self.part("fields").items()}
        time = self.time_columns(header)
        style, qualifiers = self.event(fields)
        if style == "sia_blocks":
            raise self.fault("event.style", 'event blocks are read by layouts of the kind "pattern"')
        required, prefix = self.texts("recognise", "header"), self.prefix(header)
        if header and not required:
            required = tuple(c for c in (*time, *fields.values(), prefix) if isinstance(c, str))
        first_line = self.first_line()
        if not header and not first_line:
            raise self.fault("recognise.first_line", "a layout without header needs a pattern of its first line")
        is_sheet = kind == "sheet"
        return Layout(
            id=identity, title=self.text("", "title", identity), file=self.name, header=header, required=required,
            first_line=first_line, dialect=self.dialect(), columns=columns, time_columns=time,
            time_format=self.time_format(), timezone=self.timezone(), fields=fields, event_style=style,
            qualifiers=qualifiers, samples=self.samples(), words=self.words(style), prefix=prefix,
            width=self.whole("account", "width", 0, 0), ignore=self.ignore(),
            sheet=self.text("sheet", "name", "") if is_sheet else None,
            header_within=self.whole("recognise", "header_within", SHEET_HEADER if is_sheet else 1, 1),
        )  # fmt: skip

    def by_pattern(self, identity: str, kind: str) -> Layout:
        """A layout whose columns are the groups of patterns; a group called like a field feeds it."""
        lines, groups = self.patterns()
        named = {name: name for name in FIELDS if name in groups}
        given = {name: self.column("fields", name, v, True) for name, v in self.part("fields").items()}
        decodes = {"dc09": "frame"}.get(kind, "")
        decodes = "blocks" if kind == "pattern" and self.text("event", "style", "") == "sia_blocks" else decodes
        message = {"dc09": "frame", "contact_id": "message"}.get(kind)
        if message is not None and message not in groups:
            raise self.fault("pattern.line", f"expected a group {message}")
        if decodes == "blocks":
            self.event({**named, **given})
            message = str({**named, **given}["event"])
        inner: dict[str, Column] = {name: f"told_{name}" for name in TOLD} if decodes else {}
        if kind == "contact_id":
            inner = {"event": "message"}
        fields: dict[str, Column] = {**inner, **named, **given}
        if decodes:
            fields["event"] = "told_event"
        if "column" in self.part("time"):
            time = self.time_columns(True)
        else:
            time = next((t for t in (("received_at",), ("date", "time")) if set(t) <= set(groups)), ())
            if not time:
                raise self.fault("pattern.line", "expected a group received_at, or date and time, or time.column")
        prefix = self.prefix(True)
        used = [("time.column", c) for c in time] + [(f"fields.{n}", c) for n, c in fields.items()]
        known = (*groups, *(DECODED if decodes else ()))
        for key, column in [*used, ("account.prefix", prefix)]:
            if not isinstance(column, Constant | None) and column not in known:
                raise self.fault(key, f"{column!r} is no group of the pattern")
        idle = [name for name in groups if name not in (*time, *fields.values(), prefix, message)]
        if idle:
            near = get_close_matches(idle[0], FIELDS, 1)
            hint = f"perhaps {near[0]} is meant" if near else "name it as a field, or write (?:...)"
            raise self.fault("pattern.line", f"the group {idle[0]} feeds nothing; {hint}")
        style, qualifiers = self.event(fields, "contact_id" if kind == "contact_id" else None)
        fixed = {"contact_id": "contact_id", "dc09": "any"}.get(kind, style)
        if style != fixed:
            raise self.fault("event.style", f'layouts of the kind "{kind}" have the style "{fixed}"')
        first_line, ignore = self.first_line(), self.ignore()
        return Layout(
            id=identity, title=self.text("", "title", identity), file=self.name, header=False, required=(),
            first_line=first_line, columns=0,
            dialect=Dialect(self.encodings(), ",", "", self.comment(), (1, 1 << 30), *self.several(lines, groups),
                            ignore),
            time_columns=time, time_format=self.time_format(), timezone=self.timezone(), fields=fields,
            event_style=style, qualifiers=qualifiers, samples=self.samples(), patterns=lines, groups=groups,
            ignore=ignore, share=self.share(0.0 if first_line else _SHARE),
            words=self.words(style), prefix=prefix, width=self.whole("account", "width", 0, 0), decodes=decodes,
            message=message or "",
            frame_account=self.frame_account(),
        )  # fmt: skip

    def patterns(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The patterns of a record, and the names of all their groups, each once."""
        lines = self.texts("pattern", "line")
        if not lines:
            raise self.fault("pattern.line", "is missing")
        groups: dict[str, None] = {}
        for line in lines:
            try:
                groups |= dict.fromkeys(patterns.group_names(line))
            except patterns.BadPattern as error:
                raise self.fault("pattern.line", f"is no pattern for lines: {error}") from error
        folded = [name.casefold() for name in groups]
        if len(set(folded)) < len(folded):
            raise self.fault("pattern.line", "two groups differ in capitals alone")
        return lines, tuple(groups)

    def several(
        self, lines: tuple[str, ...], groups: tuple[str, ...]
    ) -> tuple[str, int, tuple[str, ...], tuple[str, ...]]:
        """How records of several lines are gathered; nothing of it where each line is a record."""
        begins = self.text("pattern", "begins", "")
        most = self.whole("pattern", "most_lines", _MOST_LINES, 2)
        if not begins:
            if "most_lines" in self.part("pattern"):
                raise self.fault("pattern.most_lines", "expected pattern.begins with it: how does a record begin?")
            return "", 1, (), ()
        try:
            patterns.any_of([begins])
        except patterns.BadPattern as error:
            raise self.fault("pattern.begins", f"is no pattern: {error}") from error
        if self.text("event", "style", "") == "sia_blocks":
            raise self.fault("pattern.begins", "event blocks are read from single lines only")
        if most > _MOST_LINES:
            raise self.fault("pattern.most_lines", f"expected a number up to {_MOST_LINES}")
        return begins, most, lines, groups
