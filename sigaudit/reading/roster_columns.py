"""The columns a roster sheet may have, how each cell is read, and where it goes.

A column or cell that is missing means "not known" and is never a fault; a value that cannot be
meant is one.
"""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from sigaudit import settings as ground
from sigaudit.errors import InputProblem
from sigaudit.settings import (
    INTERVAL_FORM,
    PATH_KINDS,
    SYSTEM_TYPES,
    Settings,
    did_you_mean,
    interval_seconds,
    listed,
)

Value = str | float | dt.date | dt.datetime | None


class CellFault(Exception):
    """A cell that cannot be meant; the message says what was expected."""


STATUSES = ("active", "pending", "suspended", "seasonal", "cancelled")
# Seasonal sites are monitored in their season, and when that is, the roster does not say.
MONITORED = ("active", "seasonal")
FOUND_OTHERWISE = ("no_fault", "other", "no_access", "not_checked", "could_not_reproduce")

_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_INSTANT = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}:[0-9]{2}(?::[0-9]{2})?) ?(Z|[+-][0-9]{2}:?[0-9]{2})?")
_YEARS = range(1950, 2101)  # house: a year outside is a slip of the keyboard
_MAIL = re.compile(r"[^@\s,;<>]+@[^@\s,;<>]+\.[^@\s,;<>.]+")
_ROUNDED = re.compile(r"[0-9]([.,][0-9]+)?[Ee]\+[0-9]+")
_CAUSES = Path(ground.__file__).resolve().parent / "data" / "causes.csv"


def text(cell: str, _: Settings) -> Value:
    return cell


def lower_text(cell: str, _: Settings) -> Value:
    return cell.lower()


def account(cell: str, _: Settings) -> Value:
    """An account as text, leading zeros and all."""
    if _ROUNDED.fullmatch(cell):
        raise CellFault("expected all digits; a spreadsheet program has rounded this to a power of ten")
    if not cell.isprintable():
        raise CellFault("expected an account of printable signs")
    return cell


def accounts(cell: str, settings: Settings) -> Value:
    """Several accounts by semicolon, as ``a;b`` without blanks."""
    return ";".join(str(account(part.strip(), settings)) for part in cell.split(";") if part.strip())


def partition(cell: str, _: Settings) -> Value:
    """Leading zeros stripped: 01 -> 1, 00 -> 0."""
    return (cell.lstrip("0") or "0") if _digits(cell) else cell


def zone(cell: str, _: Settings) -> Value:
    """Digits as three places: 15 -> 015, 0015 -> 015; longer numbers keep their length."""
    return cell.lstrip("0").zfill(3) if _digits(cell) else cell


def _digits(cell: str) -> bool:
    return cell.isascii() and cell.isdigit()


def one_of(names: Iterable[str]) -> Callable[[str, Settings], Value]:
    known = tuple(names)

    def kind(cell: str, _: Settings) -> Value:
        name = cell.lower()
        if name not in known:
            raise CellFault(f"expected {listed(known)}{did_you_mean(name, known)}")
        return name

    return kind


def date(cell: str, _: Settings) -> Value:
    """A day as YYYY-MM-DD; any other order of day and month could be read two ways."""
    if not _DATE.fullmatch(cell):
        raise CellFault("expected a date YYYY-MM-DD")
    try:
        day = dt.date.fromisoformat(cell)
    except ValueError as error:
        raise CellFault("expected a day that exists, YYYY-MM-DD") from error
    if day.year not in _YEARS:
        raise CellFault(f"expected a year from {_YEARS.start} to {_YEARS.stop - 1}")
    return day


def instant(cell: str, settings: Settings) -> Value:
    """A time in the station's zone, or with its offset, as naive UTC.

    Local times that the clock change skips or repeats are faults: which instant was meant is not guessed.
    """
    found = _INSTANT.fullmatch(cell)
    if not found:
        raise CellFault("expected date and time, YYYY-MM-DD HH:MM, local to the station or with an offset")
    day, time, offset = found.groups()
    date(day, settings)
    try:
        if offset:
            told = dt.datetime.fromisoformat(f"{day}T{time}{offset}")
            return told.astimezone(dt.UTC).replace(tzinfo=None)
        wall = dt.datetime.fromisoformat(f"{day}T{time}")
    except ValueError as error:
        raise CellFault("expected a time that exists, HH:MM or HH:MM:SS") from error
    first, second = (wall.replace(tzinfo=settings.zone, fold=fold).utcoffset() for fold in (0, 1))
    assert first is not None and second is not None
    if first > second:
        raise CellFault(f"this hour came twice in {settings.timezone}; add the offset, such as {_offset(first)}")
    if first < second:
        raise CellFault(f"this hour was skipped by the clock change in {settings.timezone}")
    return wall - first


def _offset(delta: dt.timedelta) -> str:
    minutes = round(delta.total_seconds() / 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def interval(cell: str, _: Settings) -> Value:
    try:
        return interval_seconds(cell)
    except InputProblem as problem:
        raise CellFault(INTERVAL_FORM) from problem


def timezone(cell: str, _: Settings) -> Value:
    if fault := ground.timezone_fault(cell):
        raise CellFault(fault)
    return cell


def edition(cell: str, _: Settings) -> Value:
    if fault := ground.edition_fault(cell):
        raise CellFault(fault)
    return cell


def mail(cell: str, _: Settings) -> Value:
    """One address or several by semicolon; only its shape is looked at."""
    parts = [part.strip() for part in cell.split(";")]
    if not all(_MAIL.fullmatch(part) for part in parts):
        raise CellFault("expected an e-mail address")
    return ";".join(parts)


@lru_cache(maxsize=1)
def causes() -> tuple[str, ...]:
    """Ids of the causes that can be found at a site."""
    with _CAUSES.open(encoding="utf-8", newline="") as file:
        return tuple(row["cause"] for row in csv.DictReader(file) if row["place"] == "site")


def found(cell: str, settings: Settings) -> Value:
    """What a technician found: a cause, or one of the words for no cause."""
    name = cell.lower()
    known = (*causes(), *FOUND_OTHERWISE)
    if name not in known:
        raise CellFault(f"expected a cause id, {listed(FOUND_OTHERWISE)}{did_you_mean(name, known)}")
    return name


yes_no = one_of(("yes", "no"))


@dataclass(frozen=True)
class Column:
    """A column of a sheet: how its cells are read and what an empty cell becomes."""

    name: str
    read: Callable[[str, Settings], Value]
    required: bool = False
    empty: Value = ""


def _columns(*columns: Column) -> dict[str, Column]:
    return {column.name: column for column in columns}


_KEYED = (Column("account", account, required=True), Column("receiver_group", text))

SHEET_COLUMNS: dict[str, dict[str, Column]] = {
    "accounts": _columns(
        *_KEYED,
        Column("site", text, required=True),
        Column("customer", text),
        Column("customer_email", mail),
        Column("dealer", text),
        Column("installer", text),
        Column("system_type", one_of(SYSTEM_TYPES)),
        Column("status", one_of(STATUSES), empty="active"),
        Column("installed_on", date, empty=None),
        Column("cancelled_on", date, empty=None),
        Column("area", text),
        Column("exchange", text),
        Column("address", text),
        Column("timezone", timezone),
        Column("transmitter", text),
        Column("panel", text),
        Column("template", text),
        Column("panel_account", accounts),
        Column("has_contacts", yes_no),
        Column("panel_test_interval", interval, empty=None),
        Column("sends_restores", yes_no),
        Column("sends_openings", yes_no),
        Column("language", lower_text),
        Column("send_report", yes_no),
        Column("edition", edition),
    ),
    "paths": _columns(
        *_KEYED,
        Column("path", text, required=True),
        Column("kind", one_of(PATH_KINDS)),
        Column("role", one_of(("primary", "backup"))),
        Column("network", text),
        Column("receiver", text),
        Column("line", text),
        Column("reports_as", account),
        Column("test_interval", interval, empty=None),
        Column("supervision_interval", interval, empty=None),
        Column("checks_in", yes_no),
    ),
    "zones": _columns(
        *_KEYED,
        Column("partition", partition),
        Column("zone", zone, required=True),
        Column("kind", lower_text),
        Column("label", text),
    ),
    "on_test": _columns(
        *_KEYED,
        Column("from", instant, required=True),
        Column("to", instant, empty=None),
        Column("reason", text),
    ),
    "dealers": _columns(
        Column("dealer", text, required=True),
        Column("name", text),
        Column("email", mail),
        Column("deliver_to", one_of(("dealer", "customer")), empty="dealer"),
    ),
    "visits": _columns(
        *_KEYED,
        Column("visited_on", date, required=True),
        Column("technician", text),
        Column("found", found),
        Column("fixed", one_of(("yes", "no", "partly"))),
        Column("note", text),
    ),
}

ACCOUNT_COLUMNS = ("account", "panel_account", "reports_as")
