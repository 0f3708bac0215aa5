"""Faults of condition: batteries, valves, loose joints, sensors, water pressure and points switched out.

Patterns: the failure signatures `battery-low-chronic`, `battery-missing`, `supervisory-stuck`, `zone-chatter`,
`runaway`, `sensor-lost`, `all-sensors-lost`, `sensor-battery-ignored`, `waterflow-night` and `bypass-forever` of
the project's design (common practice where they name no source).
"""

from __future__ import annotations

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs, protecting
from tests.simulation.planting import Planted, Planter
from tests.simulation.points import episode, is_fire, point
from tests.simulation.site import Signal, Site, Zone
from tests.simulation.station import ALARM_CODES, CONTACT_ZONES


def battery_low_standing(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``cycle/STEP_H/SHARE/SINCE``: at its own battery test, every so many hours, such a share is failed,
    and told as restored by the next one passed; ``CODE/SINCE``: 302, 309 or 311 once and never restored."""
    *how, text = strength.split("/")
    since = clock.at(text)
    if how[0] != "cycle":
        code = how[0]
        kept = [s for s in life if s.event[1:] != code or s.at < since - DAY]
        kept += Pairs(site.index + 1, 5000).episode(site, clock.monday(0) + 1.4 * DAY, 3 * HOUR, code)
        kept.append(site.say(since, f"E{code}"))
        cause = "battery_aged" if code != "309" else "power_supply_fault"
        return Planted(kept, since + 2 * DAY, f"E{code} {text}, never restored; an earlier one was", cause=cause)
    step, share = float(how[1]) * HOUR, float(how[2])
    kept = [s for s in life if s.event[1:] != "302" or s.at < since - DAY]
    moment, low, told = since + dice.between(0, step), False, 0
    while moment < clock.END - 10 * MINUTE:
        fails = dice.chance(share)
        if fails != low:
            kept.append(site.say(moment + dice.between(0, 20), "E302" if fails else "R302"))
            told += fails
        low, moment = fails, moment + step
    note = f"battery fails {how[2]} of its tests every {how[1]} h since {text}, {told} times low, without a power loss"
    shows_at = since + int(5 * step / max(share * (1 - share), 0.05)) + DAY
    return Planted(kept, min(shows_at, clock.END - DAY), note, cause="battery_aged")


def supervisory_standing(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``CODE/SINCE``: valve (203), water pressure (201) or pump (205) told as off normal and never back."""
    code, text = strength.split("/")
    since = clock.at(text)
    at = point(site, {"203": "valve_tamper", "201": "low_pressure", "205": "pump"}[code])
    kept = [s for s in life if s.event[1:] != code or s.at < since - DAY]
    pairs = Pairs(site.index + 1, 5000)
    for week in (0, 1):
        start = clock.monday(week) + dice.between(DAY, 5 * DAY)
        kept += episode(site, pairs, dice, start, dice.between(10 * MINUTE, 2 * HOUR), code, at)
    stays = episode(site, pairs, dice, since, DAY, code, at)
    kept += [s for s in stays if s.event[0] == "E"]
    if site.has_contacts == "yes":  # the relay stays over: no new edge of this contact while it lasts
        zone, _ = CONTACT_ZONES["supervisory"]
        kept = [s for s in kept if s.zone != zone or s.at <= stays[0].at]
    return Planted(kept, since + 2 * DAY, f"E{code} {text} never restored; earlier ones were")


def _rattling(site: Site) -> tuple[Zone, str]:
    """A point and the code its loose loop sends: trouble of a fire loop, alarm of a burglary point."""
    zones = protecting(site)
    if is_fire(site):
        return zones[-1], "373"
    return zones[-1], ALARM_CODES[zones[-1].kind]


def zone_chatter(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``PAIRS_A_WEEK/SINCE``: one point opens and closes for seconds, a few times in a row, at any hour."""
    a_week, text = strength.split("/")
    since = clock.at(text)
    pairs = Pairs(site.index + 1, 5000)
    at, code = _rattling(site)
    for start in dice.times(since, clock.END - HOUR, float(a_week) / 2.5):
        moment = float(start)
        for _ in range(dice.whole(1, 4)):
            length = dice.between(1, 9)
            life += pairs.episode(site, moment, length, code, at.zone, at.partition)
            moment += length + dice.between(20, 5 * MINUTE)
    note = f"point {at.zone} opens and closes {a_week} times a week for seconds since {text}"
    also = "signal_flood" if float(a_week) > 100 else "trouble_returning" if code == "373" else ""
    return Planted(life, since + 8 * DAY, note, also, "zone_wiring_fault")


def signal_flood(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``AN_HOUR/HOURS/A_WEEK/SINCE``: so many signals an hour for so long, so often a week."""
    an_hour, hours, a_week, text = strength.split("/")
    since = clock.at(text)
    pairs = Pairs(site.index + 1, 3000)
    at, code = _rattling(site)
    start, step = float(since), 7 * DAY / float(a_week)
    while start + float(hours) * HOUR < clock.END - HOUR:
        moment, beat = start, 2 * HOUR / float(an_hour)  # a beat is a pair
        while moment < start + float(hours) * HOUR:
            length = beat * dice.between(0.2, 0.6)
            life += pairs.episode(site, moment, length, code, at.zone, at.partition)
            moment += beat * dice.between(0.9, 1.1)
        start += step * dice.between(0.8, 1.05)
    note = f"{an_hour} signals an hour of point {at.zone} for {hours} h, {a_week} times a week since {text}"
    also = "zone_chatter;trouble_returning" if code == "373" else "zone_chatter"
    return Planted(life, since + int(float(hours) * HOUR), note, also, "zone_wiring_fault")


def wireless_sensor_trouble(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``low/SINCE``: a sensor's battery told as low and never changed; ``dead/LOW/LOST``: that, and later
    the sensor lost; ``cycle/A_WEEK/SINCE``: one lost and found again; ``all/SINCE``: most of them lost at once."""
    kind, *rest = strength.split("/")
    pairs = Pairs(site.index + 1, 5000)
    zones = protecting(site)
    at, since = zones[-1], clock.at(rest[-1])
    first = clock.at(rest[0]) if kind in ("low", "dead") else since
    kept = [s for s in life if s.at < first or s.event[1:] not in ("381", "384")]
    if kind in ("low", "dead"):
        kept.append(site.say(first, "E384", partition=at.partition, zone=at.zone))
        note = f"E384 of point {at.zone} {rest[0]}, never restored"
        shows_at = first + 32 * DAY
        if kind == "dead":
            kept.append(site.say(since, "E381", partition=at.partition, zone=at.zone))
            note, shows_at = note + f"; the sensor lost {rest[1]}", since + 2 * DAY
        return Planted(kept, shows_at, note, cause="battery_aged")
    if kind == "cycle":
        step = 7 * DAY / float(rest[0])
        start = since + dice.between(0, step)
        while start < clock.END - DAY:
            kept += pairs.episode(site, start, dice.between(0.1, 0.5) * step, "381", at.zone, at.partition)
            start += step * dice.between(0.7, 1.2)
        note = f"point {at.zone} lost for hours {rest[0]} times a week since {rest[1]}"
        return Planted(kept, since + 10 * DAY, note, cause="zone_wiring_fault")
    for zone in zones[: max(2, (len(zones) * 3 + 3) // 4)]:
        moment = since + dice.between(0, 40 * MINUTE)
        kept.append(site.say(moment, "E381", partition=zone.partition, zone=zone.zone))
    return Planted(kept, since + 2 * DAY, f"most sensors lost within an hour {rest[0]}", cause="zone_wiring_fault")


def waterflow_repeated(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``A_WEEK/HOUR/SINCE``: the flow switch rings so often a week around a small hour, for a minute."""
    a_week, hour, text = strength.split("/")
    since = clock.at(text)
    pairs = Pairs(site.index + 1, 5000)
    at = point(site, "waterflow")
    days = dice.shuffled(range(7))[: int(a_week)]
    for day in clock.days():
        start = clock.local_day(day, (float(hour) + dice.bell(0, 0.3)) * HOUR)
        if day.weekday() in days and since <= start < clock.END - HOUR:
            life += episode(site, pairs, dice, start, dice.between(20, 90), "113", at)
    note = f"waterflow of point {at.zone} {a_week} times a week about {hour}:00 since {text}, a minute each"
    return Planted(life, since + int(3 * 7 * DAY / int(a_week)) + DAY, note)


def bypass_standing(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``CODE/SINCE``: a point switched out (570 any, 571 fire, 573 burglary) and never put back; such
    things had been put back before."""
    code, text = strength.split("/")
    since = clock.at(text)
    pairs = Pairs(site.index + 1, 5000)
    at = protecting(site)[-1]
    for week in (0, 1):
        start = clock.monday(week) + dice.between(DAY, 5 * DAY)
        life += pairs.episode(site, start, dice.between(HOUR, 5 * HOUR), code, at.zone, at.partition)
    kept = [s for s in life if s.at < since or (s.partition, s.zone) != (at.partition, at.zone) or s.event[1] != "1"]
    kept.append(site.say(since, f"E{code}", partition=at.partition, zone=at.zone))
    note = f"E{code} of point {at.zone} {text}, never put back; no alarm of it since"
    return Planted(kept, since + (8 * HOUR if is_fire(site) else 8 * DAY), note, cause="zone_left_bypassed")


PLANTERS: dict[str, Planter] = {
    "battery_low_standing": battery_low_standing,
    "supervisory_standing": supervisory_standing,
    "zone_chatter": zone_chatter,
    "signal_flood": signal_flood,
    "wireless_sensor_trouble": wireless_sensor_trouble,
    "waterflow_repeated": waterflow_repeated,
    "bypass_standing": bypass_standing,
}
