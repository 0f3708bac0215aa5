"""Faults of the supply: mains that go again and again, panels that start anew, ways that go with the mains.

Patterns: the failure signatures `ac-delay-too-short`, `ac-by-schedule`, `restart-loops` and `phone-dies-with-power`
of the project's design (common practice where they name no source).
"""

from __future__ import annotations

from dataclasses import replace

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import LOSS_CODES, Pairs, own_point
from tests.simulation.planting import Planted, Planter
from tests.simulation.site import Signal, Site


def ac_power_flapping(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``short/A_WEEK/SINCE``: no delay is set, every dip is told, most of them over within minutes;
    ``clock/HOUR/HOURS/SINCE``: a switched outlet, off every night from the same minute on for as long."""
    how, *rest, text = strength.split("/")
    since = clock.at(text)
    pairs = Pairs(site.index + 1, 5000)
    if how == "short":
        for start in dice.times(since, clock.END - 4 * HOUR, float(rest[0])):
            length = dice.between(20, 14 * MINUTE) if dice.chance(0.85) else dice.between(20 * MINUTE, 3 * HOUR)
            life += pairs.episode(site, start, length, "301")
        note = f"the mains go about {rest[0]} times a week since {text}, mostly for minutes: told without delay"
        return Planted(life, since + 10 * DAY, note)  # a setting, or the supply: the log cannot tell
    kept = [s for s in life if s.event[1:] != "301" or s.at < since]
    for day in clock.days():
        start = clock.local_day(day, float(rest[0]) * HOUR) + dice.between(0, MINUTE)
        length = float(rest[1]) * HOUR + dice.between(0, MINUTE)
        if since <= start < clock.END - length - HOUR:
            kept += pairs.episode(site, start, length, "301")
    note = f"the mains go every day about {rest[0]}:00 for {rest[1]} h since {text}: a switched outlet"
    return Planted(kept, since + 7 * DAY, note, cause="power_supply_fault")


def panel_restarts(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``A_WEEK/TIMER/SINCE``: the panel starts anew so often a week (305), and says that it has mains (301
    restored) which it never said it lost. TIMER ``kept``: its tests go on as before; ``moved``: they are counted
    from the restart."""
    a_week, timer, text = strength.split("/")
    since, step = clock.at(text), 7 * DAY / float(a_week)
    starts, moment = [], since + dice.between(0, DAY)
    while moment < clock.END - 8 * HOUR:
        starts.append(int(moment))
        moment += step * dice.between(0.6, 1.4)
    restarts = [s for at in starts for s in (site.say(at, "E305"), site.say(at + dice.between(2, 9), "R301"))]
    note = f"the panel starts anew {a_week} times a week since {text}, no power lost"
    if timer == "kept":
        return Planted(life + restarts, since + 15 * DAY, note, cause="power_supply_fault")
    period = site.timers[0].period_s
    kept = [s for s in life if s.at < starts[0] or s.event != "E602"]
    for begin, end in zip(starts, [*starts[1:], clock.END], strict=True):
        late = [at + dice.between(2, 20) for at in range(begin + period, end, period)]
        kept += [site.say(at, "E602") for at in late]
    also = "tests_missed_often;test_overdue;test_time_drifting"
    return Planted(kept + restarts, since + 8 * DAY, f"{note}; tests are counted from it", also, "power_supply_fault")


def path_lost_with_power(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``LOSSES/HOURS/BATTERY_H``: mains lost so often in five weeks for up to so many hours; what the
    telephone way needs at the site lives so long without mains, and is back minutes after them."""
    losses, hours, battery = (float(part) for part in strength.split("/"))
    way = next(p for p in site.paths if p.kind == "phone")
    other = next(p for p in site.paths if p is not way)
    pairs = Pairs(site.index + 1, 5000)
    span = (clock.END - DAY - clock.monday(1)) / losses
    for turn in range(int(losses)):
        start = clock.monday(1) + (turn + dice.between(0.1, 0.6)) * span
        life += pairs.episode(site, start, dice.between(0.7, 1) * hours * HOUR, "301")
    back = {s.pair: s.at for s in life if s.event == "R301" and s.pair}
    down = []
    for s in life:
        if s.event == "E301" and s.pair in back:
            begin = s.at + battery * HOUR * dice.between(0.85, 1.1) + dice.between(20, 4 * MINUTE)
            if begin < back[s.pair] - MINUTE:
                down.append((int(begin), back[s.pair] + int(dice.between(MINUTE, 6 * MINUTE))))
    code = LOSS_CODES[way.kind]
    told: list[Signal] = []
    for s in life:
        if (s.receiver, s.line) != (way.receiver, way.line) or not any(a <= s.at < b for a, b in down):
            told.append(s)
        elif s.origin == "panel":  # the other way carries what the panel says; a test of the line itself is lost
            told.append(replace(s, receiver=other.receiver, line=other.line))
    for begin, end in down:
        more = {"path": other.path, "origin": "communicator"}
        told += pairs.episode(site, begin, end - begin, code, own_point(site), **more)
    after = f"{battery:g} h after the mains" if battery else "with the mains"
    note = f"{way.path} goes {after} and is back with them, {len(down)} times"
    return Planted(told, clock.monday(4), note, "line_cut_flapping;test_overdue", "phone_line_faulty")


PLANTERS: dict[str, Planter] = {
    "ac_power_flapping": ac_power_flapping,
    "panel_restarts": panel_restarts,
    "path_lost_with_power": path_lost_with_power,
}
