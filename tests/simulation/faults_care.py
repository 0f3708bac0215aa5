"""Faults of care at the station and on visits: alarms on test, tests only on test, inspections off test.

Patterns: the failure signatures `alarm-while-on-test`, `inspection-not-on-test`, `no-test-programmed` and
`on-test-left` of the project's design (common practice where they name no source).
"""

from __future__ import annotations

from statistics import median

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs, alarm, inspection, protecting
from tests.simulation.planting import Planted, Planter
from tests.simulation.points import is_fire
from tests.simulation.site import Signal, Site
from tests.simulation.station import ALARM_CODES

TESTS = ("E602", "E608")


def alarm_while_on_test(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``ALARMS/HOURS/BEGIN``: on test for so long; a technician works in the first hours, and after
    that so many alarms come by night, when nobody works and nobody acts."""
    alarms, hours, text = strength.split("/")
    begin = clock.at(text)
    end = begin + int(float(hours) * HOUR)
    site.on_test.append((begin, end, "service"))
    pairs = Pairs(site.index + 1, 5000)
    life += inspection(site, pairs, dice, begin, begin + 3 * HOUR)
    nights = [t for t in range(begin + 8 * HOUR, end - HOUR, 10 * MINUTE) if clock.wall(t).hour < 5]
    zones = [z for z in protecting(site) if ALARM_CODES[z.kind][0] == "1"]
    for n in range(int(alarms)):
        start = nights[(2 * n + 1) * len(nights) // (2 * int(alarms))]
        life += alarm(site, pairs, dice, start + dice.between(0, 9 * MINUTE), dice.pick(zones))
    note = f"on test {hours} h from {text}; {alarms} alarms by night in it"
    # A day is the longest for most sites; fire goes by the hours after which the authority is told.
    also = "on_test_too_long" if float(hours) > (8 if is_fire(site) else 24) else ""
    return Planted(life, nights[-1] + HOUR, note, also, "left_on_test")


def tested_only_on_test(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``visits/N``: no timed test ever, but manual ones on N visits, each on test;
    ``nightly/HOURS``: the station keeps the account on test for the hours in which its test comes."""
    kind, amount = strength.split("/")
    if kind == "nightly":
        half = float(amount) / 2 * HOUR
        by_day = median((clock.wall(s.at).hour + clock.wall(s.at).minute / 60) for s in life if s.event in TESTS)
        for day in clock.days():
            mid = clock.local_day(day, by_day * HOUR)
            site.on_test.append((int(mid - half), int(mid + half), "by schedule"))
        note = f"on test by schedule {amount} h each day, around its test"
        return Planted(life, clock.monday(2), note, cause="left_on_test")
    kept = [s for s in life if s.event not in TESTS]
    days = [clock.days()[n] for n in (1, 3, 8, 10, 15)[: int(amount)]]
    for day in days:
        begin = clock.local_day(day, dice.between(9, 14) * HOUR)
        site.on_test.append((begin, begin + 3 * HOUR, "service"))
        kept.append(site.say(begin + dice.between(15 * MINUTE, HOUR), "E601"))
        kept.append(site.say(begin + dice.between(HOUR, 2 * HOUR), "E602"))
    note = f"tests on {amount} visits, each on test, and never a timed one since"
    also = "test_overdue;test_never_sent;gone_silent"  # what says nothing between its visits is silent as well
    return Planted(kept, clock.monday(4), note, also, "test_timer_missing")


def inspection_not_on_test(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``HOURS/BEGIN``: every point is tried in turn, as far as the hours go, with no entry on test."""
    hours, text = strength.split("/")
    begin = clock.at(text)
    pairs = Pairs(site.index + 1, 5000)
    tried = inspection(site, pairs, dice, begin, begin + int(float(hours) * HOUR))
    points = {s.zone for s in tried if s.form == "contact_id" and s.event[1] in "12"} - {"000"}
    note = f"{len(points)} of {len(protecting(site))} points tried from {text} on, nobody had an entry for it"
    return Planted(life + tried, begin + DAY, note)


PLANTERS: dict[str, Planter] = {
    "alarm_while_on_test": alarm_while_on_test,
    "tested_only_on_test": tested_only_on_test,
    "inspection_not_on_test": inspection_not_on_test,
}
