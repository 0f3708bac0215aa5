"""Events that end: alarms, troubles, power and path losses, each with its restore, and inspections."""

from __future__ import annotations

from itertools import count

from tests.simulation import clock
from tests.simulation.clock import HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.site import Signal, Site, Zone
from tests.simulation.station import ALARM_CODES, CONTACT_ZONES

LOSS_CODES = {"phone": "351", "radio": "356", "internet": "350", "cellular": "350", "one_way_radio": "353"}


def _until(longest: float) -> int:
    """No healthy condition begins so late that it would still be open at the end: what is open is planted."""
    return int(clock.END - longest - 10 * MINUTE)


class Pairs:
    """Hands out the numbers that tie the two halves of an episode together, per site."""

    def __init__(self, index: int, first: int = 1) -> None:
        self._numbers = count(index * 10000 + first)

    def episode(
        self,
        site: Site,
        start: float,
        length: float,
        code: str,
        zone: str = "000",
        partition: str = "00",
        **more: object,
    ) -> list[Signal]:
        """Event and restore of one episode."""
        pair = next(self._numbers)
        more.setdefault("origin", "panel")
        say = {"partition": partition, "zone": zone, "pair": pair, **more}
        return [site.say(start, f"E{code}", **say), site.say(start + length, f"R{code}", **say)]


def protecting(site: Site) -> list[Zone]:
    """The zones of the panel itself."""
    return [z for z in site.zones if z.kind in ALARM_CODES]


def own_point(site: Site) -> str:
    """The point number under which the site's transmitter speaks of itself."""
    return next((z.zone for z in site.zones if z.kind == "communicator"), "000")


def episodes(site: Site, dice: Dice) -> list[Signal]:
    """All healthy episodes of one site, every one closed before the end of the scenario."""
    pairs = Pairs(site.index + 1)
    found: list[Signal] = []
    fire = site.system_type in ("fire", "combined")
    for start in dice.times(clock.START, _until(HOUR), 0.35 if not fire else 0.08):
        found += alarm(site, pairs, dice, start)
    for start in dice.times(clock.START, _until(4 * HOUR), 0.11):
        found += pairs.episode(site, start, dice.between(20 * MINUTE, 3.5 * HOUR), "301")
    for start in dice.times(clock.START, _until(20 * HOUR), 0.02):
        found += pairs.episode(site, start, dice.between(2 * HOUR, 20 * HOUR), "302")
    for start in dice.times(clock.START, _until(4 * HOUR), 0.08 if fire else 0.03):
        found += trouble(site, pairs, dice, start)
    for path in site.paths:
        if path.kind in ("phone", "one_way_radio") and len(site.paths) == 1:
            continue  # a lone way that nobody polls cannot report its own loss
        code = "352" if path.path == "phone2" else LOSS_CODES[path.kind]
        via = next((p.path for p in site.paths if p is not path), path.path)
        origin = "network" if path.kind == "radio" else "communicator"
        for start in dice.times(clock.START, _until(HOUR), 0.07):
            length = dice.between(3 * MINUTE, 40 * MINUTE)
            found += pairs.episode(site, start, length, code, own_point(site), path=via, origin=origin)
    for begin, end, reason in site.on_test:
        if reason in ("inspection", "commissioning"):
            found += inspection(site, pairs, dice, begin, end)
    return found


def alarm(site: Site, pairs: Pairs, dice: Dice, start: float, zone: Zone | None = None) -> list[Signal]:
    """One alarm: the contact copy first where there is one, then the captured message, then the restores."""
    at = zone or dice.pick(protecting(site))
    code = ALARM_CODES[at.kind]
    length = dice.between(30, 25 * MINUTE)
    found: list[Signal] = []
    if site.has_contacts == "yes":
        name = "supervisory" if code.startswith("2") else "alarm"
        found += _contact(site, pairs, name, start, length)
        start += dice.between(5, 25)
    found += pairs.episode(site, start, length, code, at.zone, at.partition)
    if site.system_type == "burglary" and dice.chance(0.4):
        found.append(site.say(start + dice.between(20, 90), "E406", partition="01", zone="001"))
    return found


def trouble(site: Site, pairs: Pairs, dice: Dice, start: float) -> list[Signal]:
    """One trouble that goes away within hours."""
    at = dice.pick(protecting(site))
    fire = site.system_type in ("fire", "combined")
    code = dice.weighted(("373", "333", "330"), (0.7, 0.15, 0.15)) if fire else dice.pick(("380", "384"))
    length = dice.between(5 * MINUTE, 4 * HOUR)
    zone, partition = ("000", "00") if code in ("330", "333") else (at.zone, at.partition)
    found: list[Signal] = []
    if site.has_contacts == "yes":
        found += _contact(site, pairs, "trouble", start, length)
        start += dice.between(5, 25)
    return found + pairs.episode(site, start, length, code, zone, partition)


def _contact(site: Site, pairs: Pairs, name: str, start: float, length: float) -> list[Signal]:
    zone, code = CONTACT_ZONES[name]
    form = {"form": "contact_input", "origin": "communicator"}
    return pairs.episode(site, start, length + 1, code, zone, "01", **form)


def inspection(site: Site, pairs: Pairs, dice: Dice, begin: int, end: int) -> list[Signal]:
    """Every zone in turn within the on-test span, in short pairs, with a manual test first."""
    moment = begin + dice.between(10 * MINUTE, 30 * MINUTE)
    found = [site.say(moment, "E601")]
    for zone in protecting(site):
        moment += dice.between(3 * MINUTE, 12 * MINUTE)
        if moment > end - 15 * MINUTE:
            break
        short = dice.between(15, 90)
        code = ALARM_CODES[zone.kind]
        if site.has_contacts == "yes":
            name = "supervisory" if code.startswith("2") else "alarm"
            found += _contact(site, pairs, name, moment, short)
        found += pairs.episode(site, moment + dice.between(5, 20), short, code, zone.zone, zone.partition)
    return found
