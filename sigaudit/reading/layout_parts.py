"""One parsed layout file: its tables and texts, and one sentence for every question it answers wrongly."""

from __future__ import annotations

import re
from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any

from sigaudit.errors import LayoutFaulty
from sigaudit.reading.layouts import FIELDS

__all__ = ["HAS", "KEYS", "Parts"]

KEYS: dict[str, frozenset[str]] = {
    "": frozenset(
        {
            "id",
            "kind",
            "title",
            "source",
            "recognise",
            "text",
            "pattern",
            "frame",
            "sheet",
            "time",
            "account",
            "fields",
            "event",
            "samples",
        }
    ),
    "recognise": frozenset({"header", "header_within", "first_line", "share"}),
    "text": frozenset({"encoding", "delimiter", "quote", "comment", "header", "columns", "ignore"}),
    "pattern": frozenset({"line", "begins", "most_lines"}),
    "frame": frozenset({"account"}),
    "sheet": frozenset({"name"}),
    "time": frozenset({"column", "format", "timezone", "two_digit_year"}),
    "fields": frozenset(FIELDS),
    "event": frozenset({"style", "qualifiers", "words"}),
    "account": frozenset({"prefix", "width"}),
    "samples": frozenset({"header", "line", "gives", "rejects", "skips"}),
}
# What each kind of layout has of those keys that not all have.
_LINES = ("recognise.header", "recognise.header_within")
_MATCHED = ("recognise.share", "pattern.line")
HAS = {
    "delimited": (*_LINES, "text.delimiter", "text.quote", "text.header", "text.columns", "text.encoding"),
    "sheet": (*_LINES, "sheet.name"),
    "pattern": (*_MATCHED, "pattern.begins", "pattern.most_lines", "text.encoding"),
    "contact_id": (*_MATCHED, "text.encoding"),
    "dc09": (*_MATCHED, "frame.account", "text.encoding"),
}


class Parts:
    """The tables of a file; what is missing, unknown or of the wrong kind raises LayoutFaulty with line and key."""

    def __init__(self, name: str, text: str, table: Mapping[str, Any]) -> None:
        self.name, self.lines, self.table = name, text.splitlines(), table

    def fault(self, key: str, expected: str) -> LayoutFaulty:
        part, _, last = key.rpartition(".")
        begin = next((i for i, line in enumerate(self.lines) if part and line.strip() == f"[{part}]"), 0)
        numbered = list(enumerate(self.lines, 1))[begin:]
        at = next((i for i, line in numbered if re.match(rf"\s*(\[+([a-z]+\.)?)?{re.escape(last)}\b", line)), 0)
        where = f"{self.name}, line {at}" if at else self.name
        return LayoutFaulty(f"{where}: {key}: {expected}", next_step="mend the layout file")

    def part(self, name: str) -> Mapping[str, Any]:
        found = self.table.get(name, {}) if name else self.table
        if not isinstance(found, dict):
            raise self.fault(name, f"expected a table [{name}]")
        for key in found:
            if key not in KEYS[name]:
                near = get_close_matches(key, sorted(KEYS[name]), 1)
                hint = f", perhaps {near[0]}" if near else f"; known are {', '.join(sorted(KEYS[name]))}"
                raise self.fault(f"{name}.{key}".lstrip("."), f"no such key{hint}")
        return found

    def text(self, part: str, key: str, default: str | None = None) -> str:
        found = self.part(part).get(key, default)
        full = f"{part}.{key}".lstrip(".")
        if found is None:
            raise self.fault(full, "is missing")
        if not isinstance(found, str):
            raise self.fault(full, f"expected a text in quotes, not {found!r}")
        return found

    def texts(self, part: str, key: str, default: tuple[str, ...] = ()) -> tuple[str, ...]:
        found = self.part(part).get(key, list(default))
        found = [found] if isinstance(found, str) else found
        if not isinstance(found, list) or not all(isinstance(one, str) for one in found):
            raise self.fault(f"{part}.{key}", "expected a list of texts")
        return tuple(found)
