"""Faults of test timers: too tight a limit, one path only, a clock that runs wrong, two timers in one box.

Patterns: the failure signatures `interval-vs-limit-too-tight`, `test-one-path-only`, `clock-drift` and
`duplicate-timers` of the project's design (common practice where they name no source).
"""

from __future__ import annotations

from dataclasses import replace

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE, WEEK
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs, alarm, protecting
from tests.simulation.planting import Planted, Planter
from tests.simulation.points import is_fire
from tests.simulation.site import Path, Signal, Site

TESTS = ("E602", "E608")


def test_limit_too_tight(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``MINUTES``: the timer counts its interval from the end of a call, or a little long, so that every
    test comes so many minutes after the interval that the roster asks for."""
    late = float(strength) * MINUTE
    first = min(s.at for s in life if s.event in TESTS)
    period = site.timers[0].period_s

    def later(s: Signal) -> Signal:
        turn = round((s.at - first) / period)
        return replace(s, at=int(s.at + turn * late + dice.between(0, 0.2 * late))) if s.event in TESTS else s

    note = f"every test {strength} minutes after the interval on the roster"
    also = "test_time_drifting"  # its hour walks by as much each time
    return Planted([later(s) for s in life], clock.monday(2), note, also, "test_timer_wrong")


def test_on_one_path_only(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``A_WEEK``: all tests go by the first path and none by the second, which carries such a number of
    other messages a week; the roster asks for no test there."""
    first, second = site.paths[0], site.paths[1]
    second.test_interval = ""
    alternates = len(site.timers[0].paths) > 1

    def by_first(s: Signal) -> Signal:
        return replace(s, receiver=first.receiver, line=first.line) if s.event in TESTS and alternates else s

    kept = [by_first(s) for s in life if alternates or s.event not in TESTS or not _on(s, second)]
    pairs = Pairs(site.index + 1, 5000)
    zones = protecting(site)
    for turn, start in enumerate(dice.times(clock.START, clock.END - HOUR, float(strength))):
        other = alarm(site, pairs, dice, start, zones[turn % len(zones)])
        kept += [replace(s, receiver=second.receiver, line=second.line) for s in other]
    if alternates:
        first.test_interval = f"{site.timers[0].period_s // HOUR}h"
    # A rules edition may ask for what the roster does not, and a way that carries so little falls silent.
    also = "test_never_sent;backup_path_silent" if is_fire(site) else "backup_path_silent"
    note = f"every test by {first.path}, none by {second.path}, which carries {strength} other messages a week"
    return Planted(kept, clock.monday(2), note, also, "test_timer_missing")


def _on(s: Signal, way: Path) -> bool:
    return (s.receiver, s.line) == (way.receiver, way.line)


def test_time_drifting(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``MINUTES``: the clock of the tests runs wrong by so many minutes a week, evenly, never set."""
    slope = float(strength) * MINUTE / WEEK
    life = [replace(s, at=int(s.at + slope * (s.at - clock.START))) if s.event in TESTS else s for s in life]
    way = "later" if slope > 0 else "earlier"
    note = f"tests come {abs(float(strength)):g} minutes {way} each week"
    also = "test_limit_too_tight" if slope > 0 else ""  # each one comes so much after its interval
    return Planted(life, clock.monday(4), note, also, "panel_clock_wrong")


def test_timer_doubled(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``PERIOD_H/ZONE/SINCE``: a second timer in the same box, at another minute, under its own zone."""
    hours, zone, text = strength.split("/")
    since, period = clock.at(text), float(hours) * HOUR
    own = next(s for s in life if s.event in TESTS)
    moment = since + dice.between(0.1, 0.9) * period
    while abs((moment - own.at) % HOUR - HOUR / 2) > HOUR / 3:  # at a minute that the first timer does not use
        moment += 7 * MINUTE
    while moment < clock.END:
        life.append(replace(own, at=int(moment + dice.between(0, 20)), zone=zone))
        moment += period
    note = f"a second timer of the same box tests every {hours} h since {text}"
    return Planted(life, since + int(max(5 * period, 7 * DAY)), note, cause="test_timer_doubled")


PLANTERS: dict[str, Planter] = {
    "test_limit_too_tight": test_limit_too_tight,
    "test_on_one_path_only": test_on_one_path_only,
    "test_time_drifting": test_time_drifting,
    "test_timer_doubled": test_timer_doubled,
}
