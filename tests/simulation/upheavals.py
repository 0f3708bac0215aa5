"""Incidents of a big station: a plan by chance, and what each does to one site after the other.

Of ``incidents`` and ``disturbances`` this is the form that streams: a site's signals go in, and those that reach
the log come out, with what the site says of the incident itself. What cannot be delivered is not kindly taken away
in pairs: a panel with another way uses it (its tests too, for they test whatever way it has), another one holds the
message back until it is understood again, or gives up; the test of a path itself is lost. How panels behave: common
practice, no source; the shares are invented.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import LOSS_CODES, Pairs, alarm, trouble
from tests.simulation.incidents import NO_REPEAT, Outage
from tests.simulation.site import Path, Signal, Site

# kind -> (a week, shortest, longest [s])
RATES: dict[str, tuple[float, float, float]] = {
    "receiver_line_outage": (0.75, 2 * HOUR, 9 * HOUR),
    "receiver_outage": (0.4, 2 * HOUR, 6 * HOUR),
    "export_gap": (0.5, 4 * HOUR, 30 * HOUR),
    "area_power_outage": (3.0, HOUR, 9 * HOUR),
    "area_phone_outage": (1.0, 3 * HOUR, 20 * HOUR),
    "path_network_outage": (0.75, 2 * HOUR, 8 * HOUR),
    "signal_storm": (0.75, 1.5 * HOUR, 5 * HOUR),
}
STRADDLE = ("area_power_outage", "receiver_line_outage", "area_phone_outage", "path_network_outage", "export_gap")
TRIES_S = 15 * MINUTE  # a panel dials so long before it gives a message up
STORES, TELLS_354, ROUTER_DIES = 0.7, 0.12, 0.3


@dataclass(frozen=True)
class Upheaval:
    """One incident. ``where`` names the area, exchange or ``kind/network``; receiver and line for the station's own."""

    kind: str
    begin: int
    end: int
    key: int
    receiver: str = ""
    line: str = ""
    where: str = ""
    delay_s: float = 2 * MINUTE

    def outage(self) -> Outage:
        """The same as the receivers tell it."""
        return Outage(self.kind, self.receiver, self.line, self.begin, self.end)

    def down(self, site: Site) -> list[Path]:
        """The paths of the site over which nothing arrives."""
        if self.kind in ("receiver_line_outage", "receiver_outage"):
            return [p for p in site.paths if p.receiver == self.receiver and self.line in ("", p.line)]
        if self.kind == "area_phone_outage" and site.exchange == self.where:
            return [p for p in site.paths if p.kind == "phone"]
        if self.kind == "path_network_outage":
            return [p for p in site.paths if f"{p.kind}/{p.network}" == self.where]
        return []


def plan(sites: Iterable[Site], first: int, last: int) -> list[Upheaval]:
    """Incidents between two instants, at least one of each kind, and one over the end of every week but the last."""
    places = _places(sites)
    dice = Dice(31)
    found: list[Upheaval] = []
    for kind, (rate, short, long) in RATES.items():
        starts = dice.times(first, last - int(long), rate) or [int(dice.between(first, last - long))]
        for at in starts:
            found.append(_one(kind, at, at + int(dice.between(short, long)), len(found), places[kind], dice))
    weeks = (monday for monday in map(clock.monday, range(clock.WEEKS)) if first < monday <= last)
    for turn, monday in enumerate(weeks):
        kind = STRADDLE[turn % len(STRADDLE)]
        begin, end = monday - int(dice.between(HOUR, 4 * HOUR)), monday + int(dice.between(HOUR, 5 * HOUR))
        found.append(_one(kind, begin, end, len(found), places[kind], dice))
    return sorted(found, key=lambda u: (u.begin, u.key))


def _places(sites: Iterable[Site]) -> dict[str, list[tuple[str, str, str]]]:
    """kind -> (receiver, line, where) it can strike."""
    lines, areas, exchanges, networks = set(), set(), set(), set()
    for site in sites:
        areas.add(site.area)
        exchanges.add(site.exchange)
        for path in site.paths:
            lines.add((path.receiver, path.line))
            if path.kind != "phone":
                networks.add(f"{path.kind}/{path.network}")
    receivers = [(receiver, "", "") for receiver in sorted({r for r, _ in lines})]
    in_areas = [("", "", area) for area in sorted(areas)]
    return {
        "receiver_line_outage": [(*line, "") for line in sorted(lines)],
        "receiver_outage": receivers,
        "export_gap": receivers,
        "area_power_outage": in_areas,
        "signal_storm": in_areas,
        "area_phone_outage": [("", "", exchange) for exchange in sorted(exchanges)],
        "path_network_outage": [("", "", network) for network in sorted(networks)],
    }


def _one(kind: str, begin: int, end: int, key: int, places: Sequence[tuple[str, str, str]], dice: Dice) -> Upheaval:
    receiver, line, where = dice.pick(places)
    delay = dice.pick((2 * MINUTE, 10 * MINUTE, HOUR, 3 * HOUR))
    if kind == "export_gap" and end - begin > 20 * HOUR:  # a whole night's file that was never handed over
        day = clock.wall(begin).date()
        begin, end = clock.local_day(day, 0), clock.local_day(day, DAY)
    return Upheaval(kind, begin, end, key, receiver, line, where, delay)


def strike(site: Site, signals: list[Signal], upheavals: Iterable[Upheaval], told: bool = False) -> list[Signal]:
    """The signals of this site that reach the log, in no order, with its own words about each incident.

    told: what the panel says of lost mains and storms (``panel_words``) is among the signals already.
    """
    for u in upheavals:
        dice = Dice(32, u.key, site.index)
        if u.kind == "export_gap":
            signals = [s for s in signals if not u.outage().holds(s)]
        elif u.kind == "area_power_outage" and site.area == u.where:
            signals = _power(site, signals, u, dice, told)
        elif u.kind == "signal_storm" and site.area == u.where:
            signals = signals if told else signals + _storm(site, u, dice)
        elif down := u.down(site):
            signals = _cut(site, signals, u, down, (u.begin, u.end), dice)
    return [s for s in signals if site.first_at <= s.at < site.last_at]


def panel_words(site: Site, upheavals: Iterable[Upheaval]) -> list[Signal]:
    """What the panel says in incidents, before anything befalls it on the way: a fault of the site may change it."""
    found: list[Signal] = []
    for u in upheavals:
        dice = Dice(32, u.key, site.index)
        if u.kind == "area_power_outage" and site.area == u.where:
            found += _mains(site, u, dice)
        elif u.kind == "signal_storm" and site.area == u.where:
            found += _storm(site, u, dice)
    return found


def _mains(site: Site, u: Upheaval, dice: Dice) -> list[Signal]:
    """Nine in ten report mains lost, late by the panel's delay, if it lasted."""
    lost, back = u.begin + dice.between(0, u.delay_s), u.end + dice.between(0, 10 * MINUTE)
    if not (dice.chance(0.9) and lost < u.end):
        return []
    pair = (site.index + 1) * 10000 + 8000 + u.key
    return [site.say(lost, "E301", pair=pair), site.say(back, "R301", pair=pair)]


def _power(site: Site, signals: list[Signal], u: Upheaval, dice: Dice, told: bool) -> list[Signal]:
    """With the panel's words, unless they are there; some routers have no battery."""
    said = _mains(site, u, dice)
    signals = signals if told else signals + said
    routed = [p for p in site.paths if p.kind == "internet"]
    if routed and dice.chance(ROUTER_DIES):
        span = u.begin + int(dice.between(0, 10 * MINUTE)), u.end + int(dice.between(MINUTE, 6 * MINUTE))
        return _cut(site, signals, u, routed, span, dice)
    return signals


def _storm(site: Site, u: Upheaval, dice: Dice) -> list[Signal]:
    """Mains flicker, points trip, each site in its own way."""
    found: list[Signal] = []
    pairs = Pairs(site.index + 1, 4000 + 50 * u.key)
    if dice.chance(0.5):
        for _ in range(dice.whole(1, 2)):
            found += pairs.episode(site, dice.between(u.begin, u.end), dice.between(MINUTE, 30 * MINUTE), "301")
    if dice.chance(0.5):
        tell = alarm if dice.chance(0.5) else trouble
        found += tell(site, pairs, dice, dice.between(u.begin, u.end))
    return found


def _cut(
    site: Site, signals: list[Signal], u: Upheaval, down: list[Path], span: tuple[int, int], dice: Dice
) -> list[Signal]:  # fmt: skip
    """Nothing arrives over ``down`` within ``span``."""
    begin, end = span
    ways = {(p.receiver, p.line) for p in down}
    other = next((p for p in site.paths if (p.receiver, p.line) not in ways), None)
    stores = Dice(33, site.index).chance(STORES)
    backlog_at = end + dice.between(30, 15 * MINUTE)
    kept: list[Signal] = []
    queued = False
    for s in sorted(signals, key=lambda s: s.at):
        if (s.receiver, s.line) not in ways or not begin <= s.at < (backlog_at if queued else end):
            kept.append(s)
        elif other is not None and (s.event not in NO_REPEAT or s.origin == "panel"):
            late = s.at + int(dice.between(20, 120))
            kept.append(replace(s, at=late, receiver=other.receiver, line=other.line))
        elif s.event in NO_REPEAT and s.at < end:
            continue
        elif stores or s.at > end - TRIES_S:  # nothing overtakes what waits
            kept.append(replace(s, at=int(backlog_at)))
            queued = True
            backlog_at += dice.between(8, 25)
    return kept + _told(site, u, down, other, span, backlog_at, dice)


def _told(
    site: Site, u: Upheaval, down: list[Path], other: Path | None, span: tuple[int, int], after: float, dice: Dice
) -> list[Signal]:  # fmt: skip
    """A lost path is told over another one or by the network that polls it; some dialers say it afterwards (354)."""
    begin, end = span
    pair = (site.index + 1) * 10000 + 8500 + u.key
    found: list[Signal] = []
    polled = [p for p in down if p.kind == "radio" and p.supervision_interval and u.kind == "path_network_outage"]
    if polled:
        # the network's own receivers live on and tell of each unit once its time has run out
        missed = begin + dice.between(20 * MINUTE, 65 * MINUTE)
        if missed < end:
            say = {"path": polled[0].path, "origin": "network", "pair": pair}
            found.append(site.say(missed, "E356", **say))
            found.append(site.say(end + dice.between(MINUTE, 10 * MINUTE), "R356", **say))
    elif other is not None:
        first = down[0]
        # a dialer whose own line has voltage does not notice that nobody answers far away, until it has to report
        if first.kind != "phone" or u.kind == "area_phone_outage":
            say = {"path": other.path, "origin": "communicator", "pair": pair}
            code = "352" if first.path == "phone2" else LOSS_CODES[first.kind]
            found.append(site.say(begin + dice.between(30, 5 * MINUTE), f"E{code}", **say))
            found.append(site.say(end + dice.between(30, 5 * MINUTE), f"R{code}", **say))
    elif end - begin > HOUR and down[0].kind == "phone" and dice.chance(TELLS_354):
        found.append(site.say(after, "E354", pair=pair))
        found.append(site.say(after + dice.between(20, 200), "R354", pair=pair))
    return found
