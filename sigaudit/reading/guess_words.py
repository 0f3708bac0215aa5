"""Words of the trade in header lines. They break ties; what a column holds decides first."""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["FIELD_WORDS", "HINT", "foreign", "hint", "said"]

HINT = 0.3  # what a header word adds to a fit of 0 to 1
FIELD_WORDS: dict[str, tuple[str, ...]] = {
    "account": ("account", "acct", "acc", "subscriber", "customer no", "client no", "transmitter no", "subs"),
    "zone": ("zone", "point", "zn", "user", "sensor", "zone user", "detector", "loop", "input"),
    "partition": ("partition", "part", "area", "group", "grp", "subsystem", "prt"),
    "receiver": ("receiver", "rcvr", "rcv", "rec", "rx", "recv"),
    "line": ("line", "ln", "line card", "card", "port", "lin"),
    "panel_time": ("panel", "device time", "site time", "unit time", "event time", "occurred"),
    "received": ("receiv", "rcv", "logged", "log", "arriv", "recv", "rx"),
    "text": ("text", "description", "remark", "comment", "note", "descr", "message", "memo"),
    "path": ("path", "channel", "medium", "transport"),
    "origin": ("origin",), "format": ("format", "protocol"),
    "caller": ("caller", "calling", "ani"), "called": ("called", "dnis", "dialed", "dialled"),
}  # fmt: skip
_NOT = {"line": ("line no", "lineno", "line number"), "account": ("account name",), "receiver": ("received",)}
_OTHER = (
    "operator",
    "op",
    "priority",
    "prio",
    "seq",
    "sequence",
    "count",
    "ticket",
    "name",
    "city",
    "dealer",
    "user id",
)


def hint(field: str, name: str) -> bool:
    """Whether a header word speaks of a field."""
    words = re.sub(r"[^a-z0-9]+", " ", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name).casefold()).strip()
    if any(words.startswith(no) for no in _NOT.get(field, ())):
        return False
    parts = words.split()
    return any(words == w or w in parts or (len(w) > 4 and w in words) for w in FIELD_WORDS[field])


def foreign(name: str) -> bool:
    """Whether a header word speaks of something no field holds."""
    parts = re.sub(r"[^a-z0-9]+", " ", name.casefold())
    return any(re.search(rf"\b{word}\b", parts) for word in _OTHER)


def said(at: int, names: Sequence[str]) -> str:
    """A column as a sentence names it."""
    return f"Column {at + 1}" + (f" ({names[at]})" if names[at] else "")
