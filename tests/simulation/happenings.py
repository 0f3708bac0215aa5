"""More happenings than a quiet site has, so that a fault which shows only in them can show."""

from __future__ import annotations

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs, alarm, protecting, trouble
from tests.simulation.site import Signal, Site

KINDS = ("alarm", "trouble", "power")


def lively(site: Site, dice: Dice, a_week: int, kinds: tuple[str, ...] = KINDS) -> list[Signal]:
    """``a_week`` healthy episodes a week, spread over it, the kinds in turn; every one ends within its week."""
    pairs = Pairs(site.index + 1, 6000)
    zones = [z for z in protecting(site) if z.kind not in ("waterflow", "valve_tamper")] or protecting(site)
    found: list[Signal] = []
    alarms = 0
    for turn in range(a_week * clock.WEEKS):
        day = 0.2 + 6.4 * ((turn % a_week) + dice.between(0.1, 0.7)) / a_week
        start = clock.monday(turn // a_week) + day * DAY
        kind = kinds[turn % len(kinds)]
        if kind == "alarm":
            alarms += 1
            found += alarm(site, pairs, dice, start, zones[alarms % len(zones)])
        elif kind == "trouble":
            found += trouble(site, pairs, dice, start)
        else:
            found += pairs.episode(site, start, dice.between(10 * MINUTE, 2 * HOUR), "301")
    return found
