"""A health report as blocks of finished words, the same for the page and for the printed document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

__all__ = ["Document", "Fact", "FactLine", "SiteBlock", "Strip", "WayRow"]


@dataclass(frozen=True)
class Strip:
    """A month drawn day by day. cells: (day, state), state expected, missed or uncounted."""

    label: str
    cells: Sequence[tuple[date, str]]
    key: Sequence[tuple[str, str]]  # (state, words)


@dataclass(frozen=True)
class WayRow:
    """One way of reporting: its name, when it was last proven, tests and check-ins; ``is_bad`` where it is overdue."""

    name: str
    proven: str
    tests: str
    check_ins: str
    is_bad: bool = False


@dataclass(frozen=True)
class FactLine:
    """One statement with the rows behind it; ``folded`` ones are shown on demand, ``more`` says in print how many."""

    text: str
    rows: Sequence[str] = ()
    folded: Sequence[str] = ()
    more: str = ""
    is_bad: bool = False


@dataclass(frozen=True)
class Fact:
    """A heading with its statements."""

    title: str
    lines: Sequence[FactLine]


@dataclass(frozen=True)
class SiteBlock:
    """One system of the customer."""

    name: str
    system: str
    state: str
    state_word: str
    lead: str
    notes: Sequence[str]
    strip: Strip
    ways_title: str
    ways_head: Sequence[str]
    ways: Sequence[WayRow]
    missing: Sequence[FactLine]
    facts: Sequence[Fact]


@dataclass(frozen=True)
class Document:
    """The whole report."""

    language: str
    title: str
    month: str
    first: date
    station: str
    customer: str
    state: str
    state_word: str
    headline: str
    advice: Fact
    needs: Fact
    sites: Sequence[SiteBlock]
    limits: Fact
    foot: Sequence[str]
    skip: str = ""
