"""What the generator knows of one site and of one signal."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from tests.simulation.numbers import Numbers


@dataclass(frozen=True, slots=True)
class Signal:
    """One line a receiver will write. ``pair`` ties an event to its restore (0: alone).

    ``panel_time``: what the panel says its clock showed (0: the line does not carry it).
    """

    at: int
    receiver: str
    line: str
    account: str
    event: str
    partition: str = "00"
    zone: str = "000"
    form: str = "contact_id"
    origin: str = "panel"
    pair: int = 0
    panel_time: int = 0


@dataclass
class Path:
    """One way to the station. ``check_in_s``: period of logged check-ins, 0 for none."""

    path: str
    kind: str
    role: str
    network: str
    receiver: str
    line: str
    test_interval: str = ""
    supervision_interval: str = ""
    checks_in: str = ""
    check_in_s: int = 0
    reports_as: str = ""


@dataclass(frozen=True)
class Zone:
    """One row of the zone list."""

    partition: str
    zone: str
    kind: str
    label: str


@dataclass(frozen=True)
class TestTimer:
    """A timer that sends 602 every ``period_s``, walking through ``paths`` in turn, under one point number."""

    __test__ = False  # the name begins like a test class
    paths: tuple[str, ...]
    period_s: int
    origin: str = "panel"
    zone: str = "000"


@dataclass
class Site:
    """One rostered account with all that shapes its life.

    ``panel_account``: the number in a panel whose transmitter overrides it. ``stamps``: the transmitter
    passes on the panel's own time. ``numbers``: all numbers in use at the station.
    """

    index: int
    account: str
    archetype: str
    site: str
    customer: str
    dealer: str
    installer: str
    system_type: str
    area: str
    exchange: str
    transmitter: str
    panel: str
    paths: list[Path]
    zones: list[Zone]
    timers: list[TestTimer]
    installed_on: str
    keeps_wall_clock: bool
    business: bool
    status: str = "active"
    cancelled_on: str = ""
    has_contacts: str = "no"
    panel_test_interval: str = ""
    sends_restores: str = "yes"
    sends_openings: str = "no"
    first_at: int = 0
    last_at: int = 0
    openings_end: date | None = None
    on_test: list[tuple[int, int, str]] = field(default_factory=list)
    role: str = ""
    paths_on_roster: bool = True
    block: str = ""
    panel_account: str = ""
    stamps: bool = False
    numbers: Numbers = field(default_factory=Numbers)

    def way(self, path: str = "") -> Path:
        """The path by its id, or the primary one."""
        return next((p for p in self.paths if p.path == path), self.paths[0])

    def say(self, moment: float, event: str, **more: object) -> Signal:
        """A signal of this site; ``path`` picks the way, the rest are fields of Signal."""
        way = self.way(str(more.pop("path", "")))
        return Signal(int(moment), way.receiver, way.line, self.account, event, **more)  # type: ignore[arg-type]
