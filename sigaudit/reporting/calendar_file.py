"""Planned visits as a calendar file (RFC 5545): one all-day entry per site, written by the icalendar library."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from pathlib import Path

from icalendar import Calendar, Event

__all__ = ["days", "write"]


def days(first: date, per_day: int, count: int) -> list[date]:
    """The day of each of ``count`` visits, ``per_day`` on a working day (Monday to Friday), from ``first`` on."""
    found: list[date] = []
    day = first
    while len(found) < count:
        if day.weekday() < 5:
            found += [day] * min(per_day, count - len(found))
        day += timedelta(days=1)
    return found


def write(path: Path, visits: Iterable[tuple[date, str, str, str, str]], stamp: datetime, label: str) -> Path:
    """Write (day, key, summary, place, description) entries to ``path``; the same entries give the same bytes.

    key: what makes an entry the same one when the file is imported again; stamp: naive UTC.
    """
    book = Calendar()
    book.add("prodid", "-//sigaudit//revisit list//EN")
    book.add("version", "2.0")
    for day, key, summary, place, description in visits:
        entry = Event()
        entry.add("uid", f"{hashlib.sha256(f'{label} {key}'.encode()).hexdigest()[:20]}@sigaudit.invalid")
        entry.add("dtstamp", stamp)
        entry.add("dtstart", day)
        entry.add("dtend", day + timedelta(days=1))
        entry.add("summary", summary)
        if place:
            entry.add("location", place)
        entry.add("description", description)
        entry.add("transp", "TRANSPARENT")
        book.add_component(entry)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(book.to_ical())
    return path
