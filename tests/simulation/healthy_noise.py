"""What else a healthy site says in ordinary weeks, beside tests, openings and the episodes of ``episodes``.

Conditions here end by themselves or are mended within a day or two, as on a site that is looked after. Rates are
house figures; which codes go with which habit: Contact ID event table (SIA DC-05).
"""

from __future__ import annotations

from tests.simulation import clock
from tests.simulation.clock import HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs, inspection, protecting
from tests.simulation.site import Signal, Site

# (code, a week, shortest, longest [s]): conditions of the whole panel
FIRE_PANEL = (("310", 0.004, 30 * MINUTE, 6 * HOUR), ("309", 0.004, 2 * HOUR, 20 * HOUR))
ANY_PANEL = (("309", 0.002, 2 * HOUR, 20 * HOUR),)
# the same of one point
FIRE_POINT = (("393", 0.006, 2 * HOUR, 30 * HOUR), ("373", 0.02, MINUTE, 30 * MINUTE))
WIRELESS_POINT = (
    ("384", 0.01, 3 * HOUR, 36 * HOUR), ("381", 0.02, 20 * MINUTE, 5 * HOUR), ("383", 0.01, MINUTE, 30 * MINUTE),
)  # fmt: skip


def noise(site: Site, dice: Dice) -> list[Signal]:
    """Every further signal of the site."""
    pairs = Pairs(site.index + 1, 3000)
    fire = site.system_type in ("fire", "combined")
    burglary = site.system_type in ("burglary", "combined")
    found: list[Signal] = []
    points = [(z.zone, z.partition) for z in protecting(site)]
    for code, rate, short, long in FIRE_PANEL if fire else ANY_PANEL:
        for at in dice.times(clock.START, clock.END, rate):
            found += pairs.episode(site, at, dice.between(short, long), code)
    of_points = (FIRE_POINT if fire else ()) + (WIRELESS_POINT if burglary and dice.chance(0.3) else ())
    for code, rate, short, long in of_points:
        for at in dice.times(clock.START, clock.END, rate):
            found += pairs.episode(site, at, dice.between(short, long), code, *dice.pick(points))
    for at in dice.times(clock.START, clock.END, 0.02):  # somebody presses the test key
        found.append(site.say(at, "E601"))
    for at in dice.times(clock.START, clock.END, 0.004):
        found.append(site.say(at, "E305"))
    if burglary:
        found += _arming(site, pairs, dice)
    for begin, end, reason in site.on_test:
        if reason == "service":
            found += _service(site, pairs, dice, begin, end)
    return [s for s in found if site.first_at <= s.at < site.last_at]


def _arming(site: Site, pairs: Pairs, dice: Dice) -> list[Signal]:
    """A window left open over night is bypassed until the morning; somebody leaves in a hurry; a code is mistyped."""
    found: list[Signal] = []
    points = [z for z in protecting(site) if z.kind in ("perimeter", "interior", "motion", "glass")]
    if points and dice.chance(0.2):
        for at in dice.times(clock.START, clock.END, 0.6):
            day = clock.wall(at).date()
            evening = clock.local_day(day, dice.between(17, 22) * HOUR)
            night = dice.between(8 * HOUR, 14 * HOUR)
            zone = dice.pick(points)
            found += pairs.episode(site, evening, night, "573", zone.zone, zone.partition)
    if site.sends_openings == "yes":
        for at in dice.times(clock.START, clock.END, 0.03):
            found.append(site.say(at, "E374", partition="01", zone=protecting(site)[0].zone))
            found.append(site.say(at + dice.between(20, 90), "E406", partition="01", zone="001"))
        for at in dice.times(clock.START, clock.END, 0.02):
            found.append(site.say(at, "E461", partition="01", zone="000"))
    if site.business and site.sends_openings == "yes":
        for at in dice.times(clock.START, clock.END, 0.05):
            found.append(site.say(clock.local_day(clock.wall(at).date(), 21 * HOUR), "E454", partition="01"))
    return found


def _service(site: Site, pairs: Pairs, dice: Dice, begin: int, end: int) -> list[Signal]:
    """A technician on test: into the program and out of it, mains off and on, some points tried."""
    found = [site.say(begin + dice.between(5 * MINUTE, 15 * MINUTE), "E627")]
    off = begin + dice.between(20 * MINUTE, 30 * MINUTE)
    found.append(site.say(off, "E628"))
    found += pairs.episode(site, off + 5 * MINUTE, dice.between(10 * MINUTE, 40 * MINUTE), "301")
    some = inspection(site, pairs, dice, begin + int(HOUR), min(end, begin + int(HOUR) + 40 * MINUTE))
    return found + some
