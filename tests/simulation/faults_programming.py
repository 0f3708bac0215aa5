"""Faults of programming: points, areas, users, restores and modes that panel or roster have wrong.

Patterns: the failure signatures `orphan-restores`, `zone-not-listed`, `code-vs-system-type`,
`partition-unexpected`, `user-out-of-range`, `open-close-missing`, `zone-zero`, `generic-codes-only` and
`program-mode-left` of the project's design (common practice where they name no source).
"""

from __future__ import annotations

from dataclasses import replace

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs, alarm, protecting
from tests.simulation.planting import Planted, Planter
from tests.simulation.points import episode, is_fire, next_number
from tests.simulation.site import Signal, Site, Zone
from tests.simulation.station import ALARM_CODES

WATER = ("waterflow", "valve_tamper")  # points whose every signal is a matter of its own


def restore_before_event(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``lost/SHARE/A_WEEK``: so many of its messages never arrive, beginnings and ends alike, at a site
    with so many events; ``point/A_WEEK``: one point reports only that it is right again."""
    kind, *rest = strength.split("/")
    pairs = Pairs(site.index + 1, 5000)
    zones = protecting(site)
    for start in dice.times(clock.START, clock.END - HOUR, float(rest[-1])):
        at = zones[0] if kind == "point" else dice.pick([z for z in zones if z.kind not in WATER])
        code = "373" if kind == "lost" and is_fire(site) and dice.chance(0.5) else ALARM_CODES[at.kind]
        both = episode(site, pairs, dice, start, dice.between(MINUTE, 30 * MINUTE), code, at)
        life += both if kind == "lost" else [replace(s, pair=0) for s in both if s.event[0] == "R"]
    if kind == "point":
        kept = [s for s in life if not (s.event[0] == "E" and _of(s, zones[0]) and s.event[1] in "12")]
        note = f"point {zones[0].zone} reports {rest[-1]} times a week that it is right again, never that it is not"
        return Planted(kept, clock.monday(4), note)
    life = [s for s in life if s.form == "check_in" or not dice.chance(float(rest[0]))]
    begun = {s.pair for s in life if s.event[0] == "E"}
    life = [s if s.pair in begun else replace(s, pair=0) for s in life]  # what is left of a pair stands alone
    note = f"{rest[0]} of all messages lost on the way, beginnings and restores alike"
    # What is lost may be a test, an end or the last word; and a site so busy repeats its alarms.
    also = "tests_missed_often;test_overdue;gone_silent;restores_missing;trouble_standing;supervisory_standing;"
    also += "fire_alarm_repeated;trouble_returning"
    return Planted(life, clock.monday(4), note, also, "tone_level_marginal")


def _of(s: Signal, at: Zone) -> bool:
    return (s.partition, s.zone) == (at.partition, at.zone) and s.form == "contact_id"


def zone_not_listed(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``added/POINTS/A_WEEK/SINCE``: points added and not listed, with so many alarms a week;
    ``shifted/BY/A_WEEK/SINCE``: a new panel that counts its points from another base."""
    kind, amount, a_week, text = strength.split("/")
    since = clock.at(text)
    pairs = Pairs(site.index + 1, 5000)
    listed = protecting(site)
    numbers = {z.zone: f"{int(z.zone) + int(amount):03d}" for z in listed}
    first = next_number(site)
    kinds = listed[: int(amount)] if kind == "added" else listed
    news = [replace(z, zone=f"{first + n:03d}" if kind == "added" else numbers[z.zone]) for n, z in enumerate(kinds)]
    if kind == "shifted":
        life = [
            replace(s, zone=numbers.get(s.zone, s.zone)) if s.at >= since and s.event[1] in "1235" else s for s in life
        ]
        site.on_test.append((since - 2 * HOUR, since + HOUR, "panel replaced"))
        life += [site.say(since - 90 * MINUTE, "E627"), site.say(since - 5 * MINUTE, "E628")]
        note = f"panel replaced {text}: its points now count from {news[0].zone}"
    else:
        note = f"{amount} points added by {text}, on no list"
    moments = [since + DAY * (0.3 + 7 * n / float(a_week)) for n in range(100)]
    for n, start in enumerate(m for m in moments if m < clock.END - HOUR):
        life += alarm(site, pairs, dice, start + dice.between(0, DAY / 2), news[n % len(news)])
    return Planted(life, since + 2 * DAY, note, cause="zone_list_outdated")


def code_unfit_for_system(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``point/A_WEEK/SINCE``: one point is programmed as of the other trade, burglary in a fire panel,
    fire in a burglar alarm; ``roster/TYPE/A_WEEK``: the roster gives the whole site a type it is not."""
    kind, *rest = strength.split("/")
    pairs = Pairs(site.index + 1, 5000)
    zones = protecting(site)
    if kind == "roster":
        for start in dice.times(clock.START, clock.END - HOUR, float(rest[1])):
            life += alarm(site, pairs, dice, start)
        was, site.system_type = site.system_type, rest[0]
        return Planted(
            life, clock.monday(2), f"a {was} site that the roster calls {rest[0]}", cause="system_type_wrong"
        )
    since, at = clock.at(rest[1]), zones[-1]
    code = "131" if is_fire(site) else "111"
    kept = [s for s in life if s.at < since or not (_of(s, at) and s.event[1] == "1")]
    step = 7 * DAY / float(rest[0])
    start = since + dice.between(0, DAY)
    while start < clock.END - HOUR:
        kept += episode(site, pairs, dice, start, dice.between(MINUTE, 20 * MINUTE), code, at)
        start += step * dice.between(0.8, 1.1)
    note = f"point {at.zone} ({at.kind}) reports as {code} since {rest[1]}"
    also = "" if is_fire(site) else "fire_alarm_repeated"  # what it sends is a fire alarm, again and again
    return Planted(kept, since + 2 * DAY, note, also)


def partition_unexpected(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``area/NUMBER/A_WEEK/SINCE``: a further area with points of its own reports;
    ``moved/NUMBER/A_WEEK/SINCE``: the panel sends the points it always had under another area."""
    kind, number, a_week, text = strength.split("/")
    since, area = clock.at(text), f"{int(number):02d}"
    pairs = Pairs(site.index + 1, 5000)
    if kind == "moved":
        life = [replace(s, partition=area) if s.at >= since and s.partition == "01" else s for s in life]
        points = [replace(z, partition=area) for z in protecting(site)]
    else:
        first = next_number(site)
        points = [replace(z, partition=area, zone=f"{first + n:03d}") for n, z in enumerate(protecting(site)[:3])]
    step = 7 * DAY / float(a_week)
    start = since + dice.between(0, step)
    while start < clock.END - HOUR:
        life += alarm(site, pairs, dice, start, dice.pick(points))
        start += step * dice.between(0.7, 1.2)
    what = f"area {area} reports about {a_week} times a week since {text}, no list names it"
    return Planted(life, since + int(3 * step + 2 * DAY), what, "zone_not_listed", "zone_list_outdated")


def user_out_of_range(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``one/USER/A_WEEK/SINCE``: one user who is on no list; ``all/BY/SHARE/SINCE``: such a share of the
    openings and closings under numbers of another list. The site must have its users on the roster."""
    kind, amount, much, text = strength.split("/")
    since = clock.at(text)
    if kind == "all":

        def renamed(s: Signal) -> Signal:
            changed = s.event[1:] == "401" and s.at >= since and dice.chance(float(much))
            return replace(s, zone=f"{int(s.zone) + int(amount):03d}") if changed else s

        life = [renamed(s) for s in life]
        note = f"openings by users numbered {amount} higher than the list, {much} of them since {text}"
        return Planted(life, since + 4 * DAY, note, cause="roster_wrong")
    step = 7 * DAY / float(much)
    start = since + dice.between(0, DAY)
    while start < clock.END - 3 * HOUR:
        opened = clock.local_day(clock.wall(int(start)).date(), dice.between(20.5, 21.5) * HOUR)
        life.append(site.say(opened, "E401", partition="01", zone=amount))
        life.append(site.say(opened + dice.between(20 * MINUTE, HOUR), "R401", partition="01", zone=amount))
        start += step
    note = f"user {amount} comes {much} times a week in the evening since {text}, on no list"
    return Planted(life, since + int(2 * DAY + step), note, cause="roster_wrong")


def open_close_one_sided(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``SIDE/USERS/SINCE``: of one side, E (openings) or R (closings), only so many users still report."""
    side, users, text = strength.split("/")
    since = clock.at(text)
    seen = sorted({s.zone for s in life if s.event == f"{side}401"})
    left = set(dice.shuffled(seen)[: min(int(users), len(seen) - 1)])
    kept = [s for s in life if s.event != f"{side}401" or s.at < since or s.zone in left]
    what = "openings" if side == "E" else "closings"
    note = f"{what} of {len(left)} of {len(seen)} users reported since {text}, the other side in full"
    return Planted(kept, since + 12 * DAY, note, cause="open_close_reporting_wrong")


def zone_detail_missing(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``point/A_WEEK/SINCE``: alarms and their restores carry point 000;
    ``code/A_WEEK/SINCE``: points of every kind come as the one general alarm of their trade."""
    kind, a_week, text = strength.split("/")
    since = clock.at(text)
    pairs = Pairs(site.index + 1, 5000)
    zones = protecting(site)
    step = 7 * DAY / float(a_week)
    start, turn = since + dice.between(0, step), 0
    while start < clock.END - HOUR:
        life += alarm(site, pairs, dice, start, zones[turn % len(zones)])
        start, turn = start + step * dice.between(0.8, 1.2), turn + 1

    def dulled(s: Signal) -> Signal:
        if s.at < since or s.form != "contact_id" or s.event[1] != "1":
            return s
        if kind == "point":
            return replace(s, zone="000")
        return replace(s, event=s.event[0] + ("110" if is_fire(site) else "130"))

    what = "alarms without a point" if kind == "point" else "one code for points of every kind"
    many = 3 if kind == "point" else 7
    shows_at = since + int((many + 1) * step)
    return Planted([dulled(s) for s in life], shows_at, f"{what} since {text}", cause="report_format_wrong")


EXITS = {"627": "E628", "607": "R607", "604": "R604"}


def program_mode_left(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``CODE/SINCE``: programming (627), walk test (607) or fire test (604) entered and not left; no alarm
    after that. The panel has shown before that it reports the end."""
    code, text = strength.split("/")
    since = clock.at(text)
    earlier = clock.local_day(clock.FIRST_DAY, 30 * HOUR + dice.between(0, 6 * HOUR))
    for begin, end in ((earlier, earlier + HOUR), (since, 0)):
        visit = end or begin + HOUR
        site.on_test.append((begin - 20 * MINUTE, visit + 30 * MINUTE, "service"))
        life.append(site.say(begin, f"E{code}"))
        if end:
            life.append(site.say(end, EXITS[code]))
    kept = [s for s in life if s.at < since or s.event[1] != "1"]
    return Planted(kept, since + 8 * HOUR, f"E{code} {text} and never its end; no alarm after it", cause="left_on_test")


PLANTERS: dict[str, Planter] = {
    "restore_before_event": restore_before_event,
    "zone_not_listed": zone_not_listed,
    "code_unfit_for_system": code_unfit_for_system,
    "partition_unexpected": partition_unexpected,
    "user_out_of_range": user_out_of_range,
    "open_close_one_sided": open_close_one_sided,
    "zone_detail_missing": zone_detail_missing,
    "program_mode_left": program_mode_left,
}
