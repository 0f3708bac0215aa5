"""Faults of single points: a relay that stays, a detector that rings again, a contact the wrong way, a bad joint.

Patterns: the failure signatures `stuck-relay`, `dirty-detector`, `pull-station-repeat`, `zone-inverted`,
`fire-trouble-chronic` and `sensor-tamper` of the project's design (common practice where they name no source).
"""

from __future__ import annotations

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs, protecting
from tests.simulation.happenings import lively
from tests.simulation.planting import Planted, Planter
from tests.simulation.points import episode, point
from tests.simulation.site import Signal, Site
from tests.simulation.station import ALARM_CODES, CONTACT_ZONES


def contact_stuck(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``CONTACT/A_WEEK/SINCE``: alarm or trouble contact closed by the first such happening then and never
    open again: the messages of the panel come and go, so often a week, and the contact says nothing more."""
    name, a_week, text = strength.split("/")
    since = clock.at(text)
    zone, code = CONTACT_ZONES[name]
    life = life + lively(site, dice, int(a_week), ("alarm", "trouble"))
    first = min(s.at for s in life if s.zone == zone and s.event == f"E{code}" and s.at >= since)
    kept = [s for s in life if s.zone != zone or s.at <= first]
    note = f"the {name} contact stays since {text}; {a_week} happenings a week come and go by message"
    also = "trouble_standing" if name == "trouble" else ""
    return Planted(kept, first + 5 * DAY, note, also, "zone_wiring_fault")


def fire_alarm_repeated(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``dirty/A_WEEK/SINCE``: a smoke detector asks for service (393) every few days and, from a week on,
    rings so often a week, at any hour; ``pull/A_WEEK/SINCE``: a call point is worked by people, in school hours."""
    how, a_week, text = strength.split("/")
    since = clock.at(text)
    pairs = Pairs(site.index + 1, 5000)
    at = point(site, "smoke" if how == "dirty" else "pull")
    begin = since + 7 * DAY if how == "dirty" else since
    if how == "dirty":
        moment = since + dice.between(HOUR, DAY)
        while moment < clock.END - 12 * HOUR:
            life += pairs.episode(site, moment, dice.between(HOUR, 9 * HOUR), "393", at.zone, at.partition)
            moment += dice.between(3, 6) * DAY
    step = 7 * DAY / float(a_week)
    moment = begin + dice.between(0, step)
    while moment < clock.END - HOUR:
        start = moment
        if how == "pull":
            day = clock.wall(int(moment)).date()
            start = clock.local_day(day, dice.between(8.2, 14.8) * HOUR)
        if begin <= start < clock.END - HOUR and not (how == "pull" and clock.wall(int(start)).weekday() > 4):
            life += episode(site, pairs, dice, start, dice.between(3 * MINUTE, 20 * MINUTE), ALARM_CODES[at.kind], at)
        moment += step * dice.between(0.7, 1.3)
    if how == "dirty":
        note = f"detector {at.zone} asks for service since {text} and rings {a_week} times a week a week later"
        return Planted(life, begin + 15 * DAY, note, "trouble_returning", "zone_wiring_fault")
    note = f"call point {at.zone} is worked about {a_week} times a week in school hours since {text}"
    return Planted(life, begin + 10 * DAY, note)


def point_rests_in_alarm(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``use/A_WEEK``: a perimeter point wired the wrong way from the first day on: it stands in alarm, goes
    back for seconds when it is used, and into alarm again; ``arming/A_WEEK``: that, and at each closing it is told
    once more and switched out by the panel (573) until the next opening."""
    how, a_week = strength.split("/")
    at = point(site, "perimeter")
    say = {"partition": at.partition, "zone": at.zone}
    code = ALARM_CODES[at.kind]
    kept = [s for s in life if (s.partition, s.zone) != (at.partition, at.zone) or s.event in ("E401", "R401")]
    kept.append(site.say(clock.START + dice.between(HOUR, 5 * HOUR), f"E{code}", **say))
    for start in dice.times(clock.START + DAY, clock.END - HOUR, float(a_week)):
        kept.append(site.say(start, f"R{code}", **say))
        kept.append(site.say(start + dice.between(3, 90), f"E{code}", **say))
    if how == "arming":
        for s in life:
            if s.event == "R401":
                kept += [site.say(s.at + 3, f"E{code}", **say), site.say(s.at + 7, "E573", **say)]
            elif s.event == "E401":
                kept.append(site.say(s.at + 4, "R573", **say))
    note = f"point {at.zone} stands in alarm from the first day on and goes back for seconds {a_week} times a week"
    also = "restore_before_event;bypass_standing" if how == "arming" else "restore_before_event"
    return Planted(kept, clock.monday(2), note, also, "zone_wiring_fault")


def trouble_returning(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``CODE/A_WEEK/LONGEST_H/SINCE``: the trouble of one loop (373) or the tamper of one sensor (383) comes
    so often a week and is gone within so many hours, each time."""
    code, a_week, hours, text = strength.split("/")
    since, step = clock.at(text), 7 * DAY / float(a_week)
    pairs = Pairs(site.index + 1, 5000)
    at = protecting(site)[-1]
    moment = float(since)
    while moment < clock.END - step:  # each in its own part of the week, and gone before the next
        start = moment + dice.between(0, 0.4) * step
        length = min(dice.between(0.1, 1) * float(hours) * HOUR, 0.5 * step)
        life += pairs.episode(site, start, length, code, at.zone, at.partition)
        moment += step
    note = f"E{code} of point {at.zone} {a_week} times a week since {text}, restored within {hours} h each time"
    return Planted(life, since + 10 * DAY, note, "", "zone_wiring_fault")


PLANTERS: dict[str, Planter] = {
    "contact_stuck": contact_stuck,
    "fire_alarm_repeated": fire_alarm_repeated,
    "point_rests_in_alarm": point_rests_in_alarm,
    "trouble_returning": trouble_returning,
}
