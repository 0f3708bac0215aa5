"""What a layout file answers to single questions, each checked: encodings, times, events, columns, samples."""

from __future__ import annotations

import codecs
import re
from collections.abc import Mapping
from typing import Any

from sigaudit.reading import patterns
from sigaudit.reading.clock import is_named_zone
from sigaudit.reading.event_columns import STYLES
from sigaudit.reading.layout_parts import KEYS, Parts
from sigaudit.reading.layouts import Column, Constant
from sigaudit.reading.records import Dialect

__all__ = ["Answers"]

QUALIFIERS = {"E": "E", "R": "R", "P": "P", "1": "E", "3": "R", "6": "P"}
_TIME_TOKENS = frozenset("YymdHIpMSfbBzj%")


class Answers(Parts):
    """Every answer raises LayoutFaulty with file, line, key and what was expected."""

    def frame_account(self) -> str:
        found = self.text("frame", "account", "data")
        if found not in ("data", "header"):
            raise self.fault("frame.account", 'expected "data" or "header": which account of a frame that names two?')
        return found

    def whole(self, part: str, key: str, default: int, least: int) -> int:
        found = self.part(part).get(key, default)
        if isinstance(found, bool) or not isinstance(found, int) or found < least:
            raise self.fault(f"{part}.{key}", f"expected a whole number from {least} on")
        return found

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

    def event(self, fields: Mapping[str, Column], usual: str | None = None) -> tuple[str, dict[str, str]]:
        separate = "code" in fields
        style = self.text("event", "style", usual or ("separate" if separate else "any"))
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
