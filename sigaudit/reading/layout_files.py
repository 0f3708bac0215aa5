"""Reads layout files and refuses faulty ones with file, key and what was expected."""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from sigaudit.errors import LayoutFaulty
from sigaudit.reading import patterns
from sigaudit.reading.clock import is_named_zone
from sigaudit.reading.event_columns import STYLES
from sigaudit.reading.layout_parts import KEYS, OWN, Parts
from sigaudit.reading.layouts import FIELDS, Column, Constant, Layout, layout_paths
from sigaudit.reading.records import Dialect
from sigaudit.store import shipped

__all__ = ["load", "read"]

QUALIFIERS = {"E": "E", "R": "R", "P": "P", "1": "E", "3": "R", "6": "P"}
_TIME_TOKENS = frozenset("YymdHIpMSfbBzj%")
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


class _File(Parts):
    """Makes the layout of the parts."""

    def layout(self) -> Layout:
        self.part("")
        kind = self.text("", "kind", "delimited")
        if kind not in OWN:
            raise self.fault("kind", f"expected one of {', '.join(OWN)}")
        for other in OWN:
            for part, key in (name.split(".") for name in OWN[other] if other != kind):
                if key in self.part(part):
                    raise self.fault(f"{part}.{key}", f'is for layouts of the kind "{other}"')
        identity = self.text("", "id")
        if not re.fullmatch(r"[a-z][a-z0-9_]*", identity):
            raise self.fault("id", "expected small letters, digits and _, a letter first")
        if kind == "pattern":
            return self.by_pattern(identity)
        header = self.part("text").get("header", True)
        if not isinstance(header, bool):
            raise self.fault("text.header", "expected true or false")
        columns = self.part("text").get("columns", 0)
        if not isinstance(columns, int) or isinstance(columns, bool) or columns < 0:
            raise self.fault("text.columns", "expected how many fields a line has")
        fields = {name: self.column("fields", name, value, header) for name, value in self.part("fields").items()}
        time = self.time_columns(header)
        style, qualifiers = self.event(fields)
        required, prefix = self.texts("recognise", "header"), self.prefix(header)
        if header and not required:
            required = tuple(c for c in (*time, *fields.values(), prefix) if isinstance(c, str))
        first_line = self.first_line()
        if not header and not first_line:
            raise self.fault("recognise.first_line", "a layout without header needs a pattern of its first line")
        return Layout(
            id=identity, title=self.text("", "title", identity), file=self.name, header=header, required=required,
            first_line=first_line, dialect=self.dialect(), columns=columns, time_columns=time,
            time_format=self.time_format(), timezone=self.timezone(), fields=fields, event_style=style,
            qualifiers=qualifiers, samples=self.samples(), words=self.words(style), prefix=prefix,
        )  # fmt: skip

    def by_pattern(self, identity: str) -> Layout:
        """A layout whose columns are the groups of a pattern; a group called like a field feeds it."""
        line = self.text("pattern", "line")
        try:
            groups = patterns.group_names(line)
        except patterns.BadPattern as error:
            raise self.fault("pattern.line", f"is no pattern for lines: {error}") from error
        named = {name: name for name in FIELDS if name in groups}
        fields = {
            **named, **{name: self.column("fields", name, v, True) for name, v in self.part("fields").items()}
        }  # fmt: skip
        if "column" in self.part("time"):
            time = self.time_columns(True)
        else:
            time = next((t for t in (("received_at",), ("date", "time")) if set(t) <= set(groups)), ())
            if not time:
                raise self.fault("pattern.line", "expected a group received_at, or date and time, or time.column")
        prefix = self.prefix(True)
        used = [("time.column", c) for c in time] + [(f"fields.{n}", c) for n, c in fields.items()]
        for key, column in [*used, ("account.prefix", prefix)]:
            if not isinstance(column, Constant | None) and column not in groups:
                raise self.fault(key, f"{column!r} is no group of the pattern")
        idle = [name for name in groups if name not in (*time, *fields.values(), prefix)]
        if idle:
            near = get_close_matches(idle[0], FIELDS, 1)
            hint = f"perhaps {near[0]} is meant" if near else "name it as a field, or write (?:...)"
            raise self.fault("pattern.line", f"the group {idle[0]} feeds nothing; {hint}")
        style, qualifiers = self.event(fields)
        first_line = self.first_line()
        return Layout(
            id=identity, title=self.text("", "title", identity), file=self.name, header=False, required=(),
            first_line=first_line, dialect=Dialect(self.encodings(), ",", "", self.comment()), columns=0,
            time_columns=time, time_format=self.time_format(), timezone=self.timezone(), fields=fields,
            event_style=style, qualifiers=qualifiers, samples=self.samples(), pattern=line, groups=groups,
            ignore=self.ignore(), share=self.share(0.0 if first_line else _SHARE),
            words=self.words(style), prefix=prefix,
        )  # fmt: skip

    def ignore(self) -> str:
        try:
            return patterns.any_of(self.texts("text", "ignore"))
        except patterns.BadPattern as error:
            raise self.fault("text.ignore", f"is no list of patterns: {error}") from error

    def share(self, default: float) -> float:
        found = self.part("recognise").get("share", default)
        if isinstance(found, bool) or not isinstance(found, int | float) or not 0 < found <= 1:
            if "share" in self.part("recognise"):
                raise self.fault("recognise.share", "expected a number above 0, up to 1")
            return default
        return float(found)

    def column(self, part: str, name: str, value: Any, header: bool) -> Column:
        key = f"{part}.{name}"
        if isinstance(value, dict) and set(value) == {"constant"} and isinstance(value["constant"], str):
            return Constant(value["constant"])
        if isinstance(value, str) and value:
            if not header:
                raise self.fault(key, "without a header a column is a number, from 1")
            return value
        if isinstance(value, int) and not isinstance(value, bool) and value > 0:
            return value
        raise self.fault(key, 'expected a column name, a number from 1, or { constant = "..." }')

    def time_columns(self, header: bool) -> tuple[Column, ...]:
        found = self.part("time").get("column")
        if found is None:
            raise self.fault("time.column", "is missing: which column holds the receiver's time?")
        several = found if isinstance(found, list) else [found]
        if not several:
            raise self.fault("time.column", "expected a column")
        return tuple(self.column("time", "column", one, header) for one in several)

    def time_format(self) -> str:
        found = self.text("time", "format", "iso")
        if found == "iso":
            return found
        tokens = re.findall(r"%(.?)", found)
        strange = [token for token in tokens if token not in _TIME_TOKENS]
        if strange:
            raise self.fault("time.format", f"%{strange[0]} is not understood")
        if not (set("Yy") & set(tokens)) or not ({"m", "b", "B", "j"} & set(tokens)) or not set("HI") & set(tokens):
            raise self.fault("time.format", "expected at least year, month, day and hour, such as %Y-%m-%d %H:%M:%S")
        if "y" in tokens and self.text("time", "two_digit_year", "") != "2000":
            raise self.fault("time.two_digit_year", 'with %y, say two_digit_year = "2000": 26 is then 2026')
        return found

    def timezone(self) -> str:
        found = self.text("time", "timezone")
        if found != "station" and not is_named_zone(found):
            raise self.fault("time.timezone", f'{found!r}: expected "station" or a zone such as "Europe/Berlin"')
        return found

    def event(self, fields: Mapping[str, Column]) -> tuple[str, dict[str, str]]:
        separate = "code" in fields
        style = self.text("event", "style", "separate" if separate else "any")
        if style not in STYLES:
            raise self.fault("event.style", f"expected one of {', '.join(STYLES)}")
        if (style == "separate") != separate or ("event" in fields) == separate:
            raise self.fault("event.style", 'expected fields.event, or fields.code (and qualifier) with "separate"')
        given = self.part("event").get("qualifiers", QUALIFIERS)
        if not isinstance(given, dict) or not set(given.values()) <= {"E", "R", "P"}:
            raise self.fault("event.qualifiers", 'expected what stands for E, R and P, such as { new = "E" }')
        return style, {str(key): value for key, value in given.items()}

    def words(self, style: str) -> dict[str, str]:
        found = self.part("event").get("words", {})
        form, alone = "[ERP][0-9A-F]{3}", "" if style != "separate" else ' or "130"'
        if not isinstance(found, dict):
            raise self.fault("event.words", 'expected a table [event.words], such as "HOLD UP" = "E120"')
        for word, stands_for in found.items():
            if not isinstance(stands_for, str) or not re.fullmatch(
                f"{form}|[0-9A-F]{{3}}" if alone else form, stands_for
            ):
                raise self.fault("event.words", f'{word!r} stands for {stands_for!r}: expected "E130"{alone}')
            if word != word.strip() or not word or "\0" in word:
                raise self.fault("event.words", f"{word!r} never stands in a log: it is empty or has blanks around it")
        return found

    def prefix(self, named: bool) -> Column | None:
        found = self.part("account").get("prefix")
        return None if found is None else self.column("account", "prefix", found, named)

    def dialect(self) -> Dialect:
        delimiter = self.text("text", "delimiter", ",")
        quote, comment = self.text("text", "quote", '"'), self.comment()
        if len(delimiter) != 1 or not delimiter.isascii() or delimiter in "\r\n\0":
            raise self.fault("text.delimiter", "expected one ASCII character")
        if len(quote) > 1 or not quote.isascii() or (quote and quote in delimiter + "\r\n\0"):
            raise self.fault("text.quote", "expected one ASCII character other than the delimiter, or empty")
        return Dialect(self.encodings(), delimiter, quote, comment)

    def comment(self) -> str:
        found = self.text("text", "comment", "")
        if "\0" in found or "\n" in found:
            raise self.fault("text.comment", "expected how a comment line begins")
        return found

    def encodings(self) -> tuple[str, ...]:
        found = self.texts("text", "encoding", ("utf-8",))
        for encoding in found:
            self.encoding(encoding, alone=len(found) == 1)
        for encoding in found[:-1]:
            if _reads_anything(encoding):
                raise self.fault("text.encoding", f"{encoding!r} reads any bytes: after it, no other is tried")
        return found or ("utf-8",)

    def encoding(self, name: str, *, alone: bool) -> None:
        probe = "0aZ,;\t\"'\r\n"
        try:
            found = codecs.lookup(name).name
            fits = probe.encode(found) == probe.encode("ascii")
        except (LookupError, UnicodeEncodeError) as error:
            raise self.fault("text.encoding", f"{name!r} is not known") from error
        if not fits:
            raise self.fault("text.encoding", f"{name!r} does not write ASCII as ASCII")
        if found == "iso8859-1" and not alone:
            raise self.fault("text.encoding", f"{name!r} reads any bytes, so it cannot tell: name it alone or not")

    def first_line(self) -> str:
        found = self.text("recognise", "first_line", "")
        try:
            patterns.any_of([found] if found else [])
        except patterns.BadPattern as error:
            raise self.fault("recognise.first_line", f"is no pattern: {error}") from error
        return found

    def samples(self) -> list[Mapping[str, Any]]:
        found = self.table.get("samples", [])
        if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
            raise self.fault("samples", "expected a list of { line, gives }, { line, rejects } or { line, skips }")
        for i, one in enumerate(found, start=1):
            answers = len({"gives", "rejects", "skips"} & set(one))
            if "line" not in one or answers != 1 or not set(one) <= KEYS["samples"]:
                raise self.fault("samples", f"sample {i}: expected line, and one of gives, rejects and skips")
        return found


def _reads_anything(encoding: str) -> bool:
    try:
        bytes(range(256)).decode(encoding)
    except UnicodeDecodeError:
        return False
    return True
