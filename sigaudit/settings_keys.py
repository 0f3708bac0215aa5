"""Every key that sigaudit.toml may hold: its kind, its default, what it is for.

Settings do not know the checks: the names under ``[limits...]`` and ``[severity]`` are checked
later, where the checks are known.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from sigaudit.colours import colour_fault
from sigaudit.known_names import (
    LANGUAGES,
    PATH_KINDS,
    SEVERITIES,
    SYSTEM_TYPES,
    did_you_mean,
    edition_fault,
    listed,
    timezone_fault,
)

Value = str | int | float | bool | tuple[str, ...]


class ValueFault(Exception):
    """A value that its key cannot take; the message says what was expected."""


@dataclass(frozen=True)
class Key:
    """One key with one value."""

    name: str
    kind: Callable[[object], Value]
    default: Value
    meaning: str


@dataclass(frozen=True)
class OpenTable:
    """A table whose inner names the station chooses; ``depth`` names stand below ``name``."""

    name: str
    depth: int
    kind: Callable[[object], Value]
    form: str
    meaning: str


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueFault("expected text in quotes")
    if any(ord(char) < 32 or ord(char) == 127 for char in value):
        raise ValueFault("expected text without control characters")
    return value.strip()


def _timezone(value: object) -> str:
    name = _text(value)
    if not name:
        raise ValueFault("is empty: expected the station's zone written Area/City, such as Europe/Berlin")
    if fault := timezone_fault(name):
        raise ValueFault(fault)
    return name


def _edition(value: object) -> str:
    name = _text(value)
    if fault := edition_fault(name):
        raise ValueFault(fault)
    return name


def _texts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise ValueFault('expected a list of texts in quotes, such as ["0000", "9999"]')
    return tuple(_text(item) for item in value)


def _whole(least: int, most: int) -> Callable[[object], int]:
    def kind(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise ValueFault(f"expected a whole number from {least} to {most}")
        return value

    return kind


_MEMORY = re.compile(r"(?=.*[1-9])\d{1,6}(\.\d{1,3})? ?(KB|MB|GB|TB|KiB|MiB|GiB|TiB)")


def _memory(value: object) -> str:
    text = _text(value)
    if not _MEMORY.fullmatch(text):
        raise ValueFault('expected a size such as "1GiB" or "512MiB"')
    return text


def _one_of(names: tuple[str, ...]) -> Callable[[object], str]:
    def kind(value: object) -> str:
        text = _text(value)
        if text not in names:
            raise ValueFault(f"expected {listed(names)}{did_you_mean(text, names)}")
        return text

    return kind


def _group(value: object) -> str:
    text = _text(value)
    if not text or "/" in text:
        raise ValueFault("expected the name of a receiver group, without a slash")
    return text


_VARIABLE = re.compile("[A-Za-z_][A-Za-z0-9_]*")


def _variable(value: object) -> str:
    text = _text(value)
    if not _VARIABLE.fullmatch(text) or re.fullmatch("[0-9A-Fa-f]{32,}", text):
        raise ValueFault("expected the name of an environment variable; the key itself never stands here")
    return text


def _colour(value: object) -> str:
    text = _text(value)
    if fault := colour_fault(text):
        raise ValueFault(fault)
    return text.lower()


def _variable_or_none(value: object) -> str:
    return _variable(value) if value != "" else ""


def _limit(value: object) -> Value:
    if isinstance(value, bool | int):
        return value
    if isinstance(value, float):
        if value != value or value in (float("inf"), float("-inf")):
            raise ValueFault("expected a number that is finite")
        return value
    if isinstance(value, list):
        return _texts(value)
    if isinstance(value, str):
        return _text(value)
    raise ValueFault('expected a number, true or false, text, or a list of texts; an interval is text, such as "36h"')


# Repeated digits, counting runs, runs of F (common practice, no source).
DEFAULT_ACCOUNTS = (
    *(digit * 4 for digit in "0123456789F"), "0001", "1234", "4321", "000000", "111111", "123456", "FFFFFF",
)  # fmt: skip

KEYS = (
    Key("station.name", _text, "", "name of the station, as it stands on every page"),
    Key("station.timezone", _timezone, "", "the station's zone; weeks and days begin at its midnight"),
    Key(
        "station.edition",
        _edition,
        "",
        "rules edition whose intervals judge where the roster gives none; empty: none does",
    ),
    Key("receivers.own_accounts", _texts, (), "account numbers under which receivers speak of themselves"),
    Key(
        "receivers.default_accounts",
        _texts,
        DEFAULT_ACCOUNTS,
        "account numbers that boxes have before they are programmed",
    ),
    Key(
        "audit.history_weeks",
        _whole(1, 260),
        13,
        "weeks of history from which each account's own past is judged",
    ),
    Key("audit.compare_weeks", _whole(1, 52), 4, "weeks of earlier audits with which a week is compared"),
    Key(
        "audit.account_range",
        _whole(1, 10_000_000),
        20_000,
        "accounts judged at a time; fewer need less memory",
    ),
    Key("audit.memory_limit", _memory, "1GiB", "memory the query engine may use before it works on disk"),
    Key("report.name", _text, "", "name under which reports are written; empty: the station's name"),
    Key("report.colour", _colour, "#0f5873", "colour of headings in health reports, readable on white (WCAG AA)"),
    Key("report.logo", _text, "", "PNG or JPEG file beside sigaudit.toml that heads health reports"),
    Key("report.contact", _text, "", "whom a customer calls with questions on a health report"),
    Key("report.paper", _one_of(("a4", "letter")), "a4", "paper of health reports in PDF"),
    Key("report.language", _one_of(LANGUAGES), "en", "language of health reports where the roster names none we have"),
    Key("mail.server", _text, "", "the station's SMTP server, by which health reports are sent"),
    Key("mail.port", _whole(1, 65535), 587, "its port"),
    Key("mail.security", _one_of(("starttls", "tls", "none")), "starttls", "how the connection is sealed"),
    Key("mail.sender", _text, "", "address from which health reports come, and to which bounces go"),
    Key("mail.user", _variable_or_none, "", "name of the environment variable with the login's name; empty: no login"),
    Key("mail.password", _variable_or_none, "", "name of the environment variable with the login's password"),
    Key(
        "confirmed.limits",
        _texts,
        (),
        "ids of limits known only from memory that the station has looked up and confirms",
    ),
)

TABLES = (
    OpenTable(
        "receivers.groups",
        1,
        _group,
        '"receiver" or "receiver/line" = "group"',
        "receivers whose account digits repeat",
    ),
    OpenTable(
        "receivers.paths",
        1,
        _one_of(PATH_KINDS),
        '"receiver" or "receiver/line" = "kind"',
        "path kind of a receiver or line",
    ),
    OpenTable(
        "dc09.keys",
        1,
        _variable,
        '"account" or default = "name of an environment variable"',
        "where the key of encrypted frames is found: 32, 48 or 64 hexadecimal digits",
    ),
    OpenTable("limits", 2, _limit, "[limits.<check>] limit = value", "limits of checks, for the whole station"),
    OpenTable("limits_by_type", 3, _limit, "[limits_by_type.<system type>.<check>] limit = value", "by system type"),
    OpenTable("limits_by_dealer", 3, _limit, '[limits_by_dealer."<dealer>".<check>] limit = value', "by dealer"),
    OpenTable("limits_by_account", 3, _limit, '[limits_by_account."<account>".<check>] limit = value', "by account"),
    OpenTable(
        "severity",
        1,
        _one_of((*SEVERITIES, "off")),
        "<check> = severity or off",
        "severity of a check, or off",
    ),
)

KEY_BY_NAME = {tuple(key.name.split(".")): key for key in KEYS}
TABLE_BY_NAME = {tuple(table.name.split(".")): table for table in TABLES}
SECTIONS = frozenset(
    path[:depth] for path in (*KEY_BY_NAME, *TABLE_BY_NAME) for depth in range(1, len(path))
) | frozenset(TABLE_BY_NAME)


def table_of(path: tuple[str, ...]) -> OpenTable | None:
    """The open table a path lies in, or None."""
    return next((table for name, table in TABLE_BY_NAME.items() if path[: len(name)] == name), None)


def system_type_fault(name: str) -> str:
    """What is wrong with a system type, or ''."""
    return "" if name in SYSTEM_TYPES else f"expected {listed(SYSTEM_TYPES)}{did_you_mean(name, SYSTEM_TYPES)}"
