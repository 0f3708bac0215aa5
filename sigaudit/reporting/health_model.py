"""The month of a site as the health reports know it: frozen values, no words and no reading.

Nothing here is called in order that was not judged: a way never seen, a panel that cannot be told from its
transmitter, check-ins that the log does not hold each make a site *not proven*.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from sigaudit.reporting.health_tables import Condition
from sigaudit.reporting.page import Clock, Row

__all__ = [
    "EXPECTED",
    "MISSED",
    "NOT_JUDGED",
    "SILENT",
    "STATES",
    "WHY",
    "Day",
    "Kept",
    "Month",
    "Site",
    "Trouble",
    "Way",
]

# From worst to best; a customer stands as the worst of its sites.
STATES = ("silent", "degraded", "not_proven", "healthy")
SILENT = frozenset(("gone_silent", "never_heard", "silent_after_power_loss"))
EXPECTED, MISSED, NOT_JUDGED = "expected", "missed", "nothing_due"
# What many sites share or the log lacks, in the words of the excuses; anything else is told as "other".
WHY = (
    "before", "after", "export_gap", "receiver_outage", "receiver_line_outage", "not_told_apart", "area_power_outage",
    "area_phone_outage", "path_network_outage", "signal_storm", "on_test", "starting", "new", NOT_JUDGED,
)  # fmt: skip


@dataclass(frozen=True)
class Month:
    """The month as the run holds it: local days with ``held`` yes, before or after."""

    label: str
    clock: Clock
    days: Sequence[tuple[date, str]]
    from_utc: datetime
    until_utc: datetime
    as_of_utc: datetime

    @property
    def n_held(self) -> int:
        return sum(1 for _, held in self.days if held == "yes")


@dataclass(frozen=True)
class Day:
    """One local day of a site: expected, missed, or the reason why it does not count."""

    day: date
    state: str

    @property
    def counts(self) -> bool:
        return self.state in (EXPECTED, MISSED)


@dataclass(frozen=True)
class Kept:
    """One requirement over the month. ``not_kept``: local days that are not as expected, with '' missed or why."""

    what: str
    path: str
    source: str
    visible: bool
    proven: bool
    received: int
    missed: int
    excused: int
    first_utc: datetime | None
    last_proof_utc: datetime | None
    not_kept: Mapping[date, str]
    misses: Sequence[Row] = ()

    @property
    def judged(self) -> bool:
        return self.visible and self.first_utc is not None

    @property
    def overdue(self) -> bool:
        """Not proven at the month's end, and what was due since did not come for no reason away from the site."""
        if not self.judged or self.proven:
            return False
        since = [row for row in self.misses if self.last_proof_utc is None or row["due_utc"] > self.last_proof_utc]
        return any(row["state"] != "excused" for row in since)

    @property
    def gaps(self) -> list[Row]:
        """Check-ins that came too late."""
        return [row for row in self.misses if row["state"] == "late"]


@dataclass(frozen=True)
class Way:
    """One path to the station. ``no``: a running number where kind and role do not tell it from another."""

    path: str
    kind: str
    role: str
    no: int
    last_utc: datetime | None
    tests: Kept | None
    check_ins: Kept | None
    is_told: bool

    @property
    def unjudged_check_ins(self) -> bool:
        return self.check_ins is not None and not self.check_ins.judged

    @property
    def kept(self) -> list[Kept]:
        """What was asked of it and could be judged."""
        return [kept for kept in (self.tests, self.check_ins) if kept is not None and kept.judged]

    @property
    def overdue(self) -> bool:
        return any(kept.overdue for kept in self.kept)

    @property
    def lapsed(self) -> bool:
        """Once proven, not at the month's end, and not for a reason at the site."""
        return not self.overdue and any(not kept.proven for kept in self.kept)


@dataclass(frozen=True)
class Trouble:
    """A condition that lasted in the month. ``until_utc`` None with ``open``, or without it: its end is never told."""

    condition: Condition
    label: str
    zone: str
    from_utc: datetime
    until_utc: datetime | None
    open: bool
    shared: bool

    def seconds(self, as_of_utc: datetime) -> float:
        """How long it lasted, up to ``as_of`` while open; 0 where its end is not told."""
        end = self.until_utc or (as_of_utc if self.open else None)
        return (end - self.from_utc).total_seconds() if end else 0.0


@dataclass(frozen=True)
class Site:
    """One account as its month's report tells it."""

    row: Row
    ways: Sequence[Way]
    panel: Kept | None
    whole: Kept | None
    panel_state: str  # proven, degraded or not_proven
    troubles: Sequence[Trouble]
    advice: Sequence[tuple[str, str]]  # (advice, path)
    needs: Sequence[str]
    days: Sequence[Day]
    state: str
    findings: Sequence[Row]
    on_test_since: datetime | None = None
    unproven: Sequence[tuple[str, str]] = field(default=())  # (what, path)

    @property
    def key(self) -> str:
        return str(self.row["account_key"])

    @property
    def n_expected(self) -> int:
        return sum(1 for day in self.days if day.state == EXPECTED)

    @property
    def n_counted(self) -> int:
        return sum(1 for day in self.days if day.counts)

    def judged(self) -> list[Kept]:
        """Every requirement that days are judged by."""
        return [k for way in self.ways for k in way.kept] + [
            k for k in (self.panel, self.whole) if k is not None and k.judged
        ]
