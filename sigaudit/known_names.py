"""Closed lists of names that people type, and the nearest known one when they mistype.

Ground floor: settings and workspace use it; nothing here reads a workspace.
"""

from __future__ import annotations

import csv
import difflib
import zoneinfo
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

SYSTEM_TYPES = ("fire", "burglary", "combined", "holdup", "medical", "environment")
PATH_KINDS = ("radio", "one_way_radio", "cellular", "internet", "phone", "satellite")
# Languages that health reports are complete in.
LANGUAGES = ("en", "es", "fr")
SEVERITIES = ("critical", "major", "minor", "note")

_EDITIONS = Path(__file__).resolve().parent / "data" / "editions.csv"

# What people write for a zone, and places that keep that time (common practice, no source).
# An abbreviation itself is refused: it names an offset, not the rule when the clock changes.
_ABBREVIATIONS = {
    "EST": ("America/New_York", "America/Toronto"),
    "EDT": ("America/New_York", "America/Toronto"),
    "ET": ("America/New_York", "America/Toronto"),
    "CST": ("America/Chicago", "America/Winnipeg"),
    "CDT": ("America/Chicago", "America/Winnipeg"),
    "CT": ("America/Chicago", "America/Winnipeg"),
    "MST": ("America/Denver", "America/Phoenix"),
    "MDT": ("America/Denver", "America/Edmonton"),
    "MT": ("America/Denver", "America/Edmonton"),
    "PST": ("America/Los_Angeles", "America/Vancouver"),
    "PDT": ("America/Los_Angeles", "America/Vancouver"),
    "PT": ("America/Los_Angeles", "America/Vancouver"),
    "HST": ("Pacific/Honolulu",),
    "GMT": ("Europe/London", "Etc/UTC"),
    "BST": ("Europe/London",),
    "WET": ("Europe/Lisbon",),
    "CET": ("Europe/Berlin", "Europe/Paris"),
    "CEST": ("Europe/Berlin", "Europe/Paris"),
    "MET": ("Europe/Berlin",),
    "EET": ("Europe/Helsinki", "Europe/Athens"),
    "AEST": ("Australia/Sydney", "Australia/Brisbane"),
    "NZST": ("Pacific/Auckland",),
}


def nearest(word: str, known: Iterable[str], count: int = 1) -> list[str]:
    """Known names most like ``word``, best first, at most ``count``; empty when none is like it.

    Case does not count. Likeness is difflib's ratio, at least 0.6 (house).
    """
    by_folded = {name.casefold(): name for name in sorted(set(known), reverse=True)}
    found = difflib.get_close_matches(word.strip().casefold(), sorted(by_folded), n=count, cutoff=0.6)
    return [by_folded[name] for name in found]


def listed(names: Iterable[str]) -> str:
    """Names for a sentence: ``a``, ``a or b``, ``a, b or c``."""
    names = list(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}" if names else ""


def did_you_mean(word: str, known: Iterable[str], count: int = 1) -> str:
    """`` (nearest: X)`` with its leading blank, or nothing."""
    found = nearest(word, known, count)
    return f" (nearest: {', '.join(found)})" if found else ""


@lru_cache(maxsize=1)
def timezones() -> frozenset[str]:
    """Zone names a station may use: Area/City of the IANA database, and UTC."""
    return frozenset(name for name in zoneinfo.available_timezones() if "/" in name or name == "UTC")


@lru_cache(maxsize=1000)
def timezone_fault(name: str) -> str:
    """What is wrong with a zone name, or '' when it can be used."""
    if name in timezones():
        return ""
    near = list(_ABBREVIATIONS.get(name.strip().upper(), ()))
    if not near:
        cities: dict[str, str] = {}
        for zone in sorted(timezones()):
            cities.setdefault(zone.rsplit("/", 1)[-1], zone)
        wanted = name.strip().replace(" ", "_")
        near = nearest(wanted, timezones(), 3)
        near += [cities[city] for city in nearest(wanted, cities, 3) if cities[city] not in near]
    hint = f" (nearest: {', '.join(near[:3])})" if near else ""
    return f"expected an IANA zone written Area/City, such as Europe/Berlin{hint}"


@lru_cache(maxsize=1)
def editions() -> tuple[str, ...]:
    """Ids of the rule editions whose intervals are shipped; empty when none is shipped."""
    if not _EDITIONS.is_file():
        return ()
    with _EDITIONS.open(encoding="utf-8", newline="") as file:
        return tuple(row["edition"] for row in csv.DictReader(file))


def edition_fault(name: str) -> str:
    """What is wrong with a rules edition, or '' when it can be used; empty means no edition."""
    known = editions()
    if not name or not known or name in known:
        return ""
    hint = did_you_mean(name, known)
    return f"expected a rules edition{hint}; known: {', '.join(known)}"
