"""A healthy site's life: tests, check-ins, openings and closings, with the noise of everyday."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import episodes
from tests.simulation.site import Signal, Site, TestTimer

MISSED_TEST = 0.005  # house: one test in 200 never arrives although nothing is wrong
MISSED_CHECK_IN = 0.002  # house


def live(site: Site) -> list[Signal]:
    """Every signal a healthy site would send between its first and its last moment."""
    dice = Dice(3, site.index)
    signals: list[Signal] = []
    for timer in site.timers:
        signals += _tests(site, timer, dice)
    signals += _check_ins(site, dice)
    if site.sends_openings == "yes":
        for partition in sorted({z.partition for z in site.zones if z.kind == "user"}) or ["01"]:
            signals += _openings(site, dice, partition)
    signals += episodes(site, Dice(4, site.index))
    return [s for s in signals if site.first_at <= s.at < site.last_at]


def _tests(site: Site, timer: TestTimer, dice: Dice) -> list[Signal]:
    """The comb of one timer. Panels that know the time of day move with the clock change."""
    phase = dice.between(0, timer.period_s)
    drift = dice.between(-4.0, 4.0)  # [s/day]: a small drift is healthy
    spread = dice.between(2.0, 20.0)  # [s]: dialing takes its time
    steps = int((clock.END - clock.START) / timer.period_s) + 2
    found: list[Signal] = []
    for step in range(steps):
        seconds = phase + step * timer.period_s
        if site.keeps_wall_clock:
            due = clock.local_day(clock.FIRST_DAY + timedelta(days=int(seconds // DAY)), seconds % DAY)
        else:
            due = clock.START + int(seconds)
        late = abs(dice.bell(0, spread)) + (dice.between(30, 150) if dice.chance(0.02) else 0)
        missed = dice.chance(MISSED_TEST)
        if missed and due < clock.END - 2 * timer.period_s:  # overdue at the very end is planted, not luck
            continue
        moment = due + drift * (seconds / DAY) + late
        path = timer.paths[step % len(timer.paths)]
        found.append(site.say(moment, "E602", path=path, origin=timer.origin, zone=timer.zone))
    return found


def _check_ins(site: Site, dice: Dice) -> list[Signal]:
    found: list[Signal] = []
    for way in site.paths:
        if not way.check_in_s:
            continue
        moment = clock.START + dice.between(0, way.check_in_s)
        while moment < clock.END:
            if not dice.chance(MISSED_CHECK_IN):
                form = {"form": "check_in", "origin": "communicator"}
                found.append(site.say(moment, "LINK", path=way.path, partition="", zone="", **form))
            moment += way.check_in_s + dice.between(0, 4)
    return found


def stamped(site: Site, signals: list[Signal]) -> list[Signal]:
    """The signals with the panel's own time, where the transmitter passes it on: seconds before they arrive."""
    if not site.stamps:
        return signals
    dice = Dice(10, site.index)
    off, dialing = dice.between(-20, 20), dice.between(4, 14)  # [s]: a healthy clock, a healthy way
    return [
        replace(s, panel_time=s.at - int(dialing + dice.between(0, 6) - off))
        if s.origin == "panel" and not s.panel_time
        else s
        for s in signals
    ]


def _openings(site: Site, dice: Dice, partition: str) -> list[Signal]:
    """Openings (E401) and closings (R401) by user, in pairs, on the wall clock."""
    found: list[Signal] = []
    open_at, close_at = dice.between(6.5, 9.5), dice.between(16.5, 20.5)
    users = [f"{n:03d}" for n in range(1, dice.whole(2, 6))]
    users = [z.zone for z in site.zones if z.kind == "user" and z.partition == partition] or users
    for day in clock.days():
        if site.openings_end and day > site.openings_end:
            break
        if site.business and (day.weekday() == 6 or (day.weekday() == 5 and dice.chance(0.5))):
            continue
        rounds = 1 if site.business else dice.weighted((0, 1, 2), (0.08, 0.6, 0.32))
        edges = [(open_at, close_at)] if rounds < 2 else [(open_at, 12.2), (13.0, close_at)]
        for first, last in edges[: max(rounds, 0)]:
            user = dice.pick(users)
            start = clock.local_day(day, (first + dice.bell(0, 0.25)) * HOUR)
            end = clock.local_day(day, (last + dice.bell(0, 0.3)) * HOUR)
            end = max(end, start + 5 * MINUTE)
            found.append(site.say(start, "E401", partition=partition, zone=user))
            found.append(site.say(end, "R401", partition=partition, zone=dice.pick((user, dice.pick(users)))))
    return found
