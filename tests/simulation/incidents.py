"""What went wrong away from the sites: a receiver line, a receiver, an export part; power, telephone, a network."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from tests.simulation import clock, disturbances
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.site import Signal, Site
from tests.simulation.station import OWN_ACCOUNT, OWN_LINE

NO_REPEAT = ("E602", "E608", "E603", "E601", "LINK")


@dataclass(frozen=True)
class Outage:
    """From ``begin`` to ``end`` nothing of this receiver (line "": all lines) reaches the log.

    Where ``group`` is told (area, exchange or network, and which), it is the sites of that group that are struck.
    """

    kind: str
    receiver: str
    line: str
    begin: int
    end: int
    group: tuple[str, str] = ("", "")

    def holds(self, s: Signal) -> bool:
        on_line = s.receiver == self.receiver and (self.line in ("", s.line))
        return on_line and self.begin <= s.at < self.end


OUTAGES = [
    Outage("receiver_line_outage", "1", "2", clock.at("2026-11-18 03:10"), clock.at("2026-11-18 12:20")),
    Outage("receiver_outage", "3", "", clock.at("2026-11-10 14:20"), clock.at("2026-11-10 19:50")),
    Outage("export_gap", "2", "", clock.at("2026-10-29 00:00"), clock.at("2026-10-30 00:00")),
]
# Shared by sites; their stragglers, who stay down, are planted in plan_a.
SHARED = [
    Outage("signal_storm", "", "", clock.at("2026-10-24 01:10"), clock.at("2026-10-24 03:00")),
    Outage(
        "path_network_outage", "", "", clock.at("2026-11-04 12:30"), clock.at("2026-11-05 00:10"),
        ("network", "internet Provider East"),
    ),
    Outage(
        "area_power_outage", "", "", clock.at("2026-11-12 16:30"), clock.at("2026-11-12 20:05"), ("area", "Area 5")
    ),
    Outage(
        "area_phone_outage", "", "", clock.at("2026-11-20 09:20"), clock.at("2026-11-20 17:00"),
        ("exchange", "Exchange 2"),
    ),
]  # fmt: skip


def own_signals(outages: Sequence[Outage] = OUTAGES) -> list[Signal]:
    """The receivers speaking of themselves: a self-test every night, and the story of each outage of a receiver."""
    found: list[Signal] = []
    for receiver, account in OWN_ACCOUNT.items():
        for day in clock.days():
            moment = clock.local_day(day, 4 * HOUR + 60 * int(receiver))
            found.append(Signal(moment, receiver, OWN_LINE, account, "E602", origin="receiver"))
    for down in outages:
        if down.kind != "receiver_outage":
            continue
        story = [
            (down.begin - 14 * MINUTE, "E301"),
            (down.begin - 3 * MINUTE, "E302"),
            (down.begin - 4, "E308"),
            (down.end, "R308"),
            (down.end + 1, "R302"),
            (down.end + 2, "R301"),
        ]
        own = OWN_ACCOUNT[down.receiver]
        found += [Signal(moment, down.receiver, OWN_LINE, own, event, origin="receiver") for moment, event in story]
    return found


def strike(signals: list[Signal], sites: list[Site]) -> list[Signal]:
    """The signals that reach the log. Tests due in an outage are missed and never repeated."""
    for number, outage in enumerate(SHARED, start=1):
        signals = _shared(signals, struck_by(outage, sites), outage, number)
    for outage in OUTAGES:
        if outage.kind == "export_gap":
            signals = _lost_in_gap(signals, outage)
        else:
            signals = _lost(signals, outage.holds, outage.begin, outage.end)
            signals += _failed_to_report(outage, sites)
    return signals


def _lost_in_gap(signals: list[Signal], gap: Outage) -> list[Signal]:
    """An episode that would reach over the edge of the gap leaves as a whole."""
    inside = {s.pair for s in signals if gap.holds(s) and s.pair}
    return [s for s in signals if not gap.holds(s) and s.pair not in inside]


def struck_by(outage: Outage, sites: list[Site]) -> list[Site]:
    """The sites of the group that live through it. Those with a fault of their own are left out: what an outage
    adds to their words is up to their fault."""
    kind, value = outage.group
    network = tuple(value.split(" ", 1))
    return [
        s
        for s in sites
        if not s.role
        and (
            outage.kind == "signal_storm"
            or (kind == "area" and s.area == value)
            or (kind == "exchange" and s.exchange == value)
            or (kind == "network" and any((p.kind, p.network) == network for p in s.paths))
        )
    ]


def _shared(signals: list[Signal], struck: list[Site], outage: Outage, key: int) -> list[Signal]:
    """What reaches the log of one disturbance. Panels dial again what they began before it."""
    begin, end = outage.begin, outage.end
    if outage.kind == "area_power_outage":
        return disturbances.power_outage(signals, struck, begin, end, key=key)
    if outage.kind == "signal_storm":
        return disturbances.storm(signals, struck[::4], begin, end, key=key)
    by_account = {s.account: s for s in struck}
    kind = "phone" if outage.kind == "area_phone_outage" else outage.group[1].partition(" ")[0]
    network = outage.group[1].partition(" ")[2] if outage.group[0] == "network" else ""

    def holds(s: Signal) -> bool:
        site = by_account.get(s.account)
        return site is not None and begin <= s.at < end and any(
            p.kind == kind and network in ("", p.network) and (p.receiver, p.line) == (s.receiver, s.line)
            for p in site.paths
        )  # fmt: skip

    signals = _lost(signals, holds, begin, end)
    if kind == "phone":
        return disturbances.phone_outage(signals, struck, begin, end, key=key)
    return disturbances.network_outage(signals, struck, kind, network, begin, end, key=key)


def _lost(signals: list[Signal], holds: Callable[[Signal], bool], begin: int, end: int) -> list[Signal]:
    """Restores whose event was heard are dialed again after the outage; the rest is lost."""
    dice = Dice(7, begin)
    heard = {s.pair for s in signals if s.pair and s.at < begin and not holds(s)}
    kept: list[Signal] = []
    for s in signals:
        if not holds(s):
            kept.append(s)
        elif s.pair in heard and s.event not in NO_REPEAT:
            kept.append(replace(s, at=end + int(dice.between(30, 20 * MINUTE))))
    begun = {s.pair for s in kept if s.pair and s.event.startswith("E")}
    return [s for s in kept if not s.pair or s.pair in begun]


def _failed_to_report(outage: Outage, sites: list[Site]) -> list[Signal]:
    """A few panels tell afterwards that they could not report (354), and that they can again."""
    dice = Dice(8, outage.begin)
    found: list[Signal] = []
    for site in sites:
        way = site.way()
        lines = (way.receiver, way.line)
        hit = lines == (outage.receiver, outage.line) or (not outage.line and lines[0] == outage.receiver)
        alive = site.first_at < outage.begin and site.last_at > outage.end + DAY
        if not hit or not alive or site.role in ("never_heard", "gone_silent") or not dice.chance(0.12):
            continue
        moment = outage.end + dice.between(MINUTE, 35 * MINUTE)
        pair = (site.index + 1) * 10000 + 9000 + outage.begin % 7
        found.append(site.say(moment, "E354", pair=pair))
        found.append(site.say(moment + dice.between(20, 200), "R354", pair=pair))
    return found
