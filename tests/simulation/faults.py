"""The faults of tests, supervision, paths, power and roster that the first block of sites carries.

The patterns follow the failure signatures of the trade (catalogue of the project's design: what a fault
leaves in the receiver log).
"""

from __future__ import annotations

from dataclasses import replace

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs, alarm, protecting, trouble
from tests.simulation.planting import Planted, Planter
from tests.simulation.site import Signal, Site

TESTS = ("E602", "E608")
STANDING_CAUSES = {"301": "power_supply_fault", "300": "power_supply_fault", "373": "zone_wiring_fault"}


def never_heard(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    site.installed_on = strength
    installed = clock.at(f"{strength} 12:00")
    # Where a stranger sends under a number near to it, that is one more thing to be said of it.
    shows_at = max(installed + 3 * DAY, clock.START + 3 * DAY)
    return Planted([], shows_at, f"installed {strength}, never a line", "account_near_miss")


def gone_silent(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    last = clock.at(strength)
    kept = [s for s in life if s.at < last]
    return Planted(kept, last + 2 * DAY, f"no line of any kind after {strength}", "test_overdue", _dead_way(site))


def test_overdue(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    last = clock.at(strength)
    kept = [s for s in life if s.event not in TESTS or s.at < last]
    return Planted(
        kept, last + 2 * DAY, f"tests stop after {strength}, other signals go on", "gone_silent", "test_timer_missing"
    )


def tests_missed_often(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    day, share = strength.split("/")
    since = clock.at(f"{day} 00:00")
    kept = [s for s in life if s.event not in TESTS or s.at < since or not dice.chance(float(share))]
    return Planted(kept, since + 7 * DAY, f"{share} of the tests missing since {day}", "test_overdue", _bad_way(site))


def test_interval_too_long(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    every = int(strength)
    base = site.timers[0].period_s
    first = min(s.at for s in life if s.event in TESTS)
    life = [s for s in life if s.event not in TESTS or round((s.at - first) / base) % every == 0]
    period = base * every // HOUR
    note = f"tests every {period} h where the roster asks {site.paths[0].test_interval}"
    also = "test_overdue;tests_missed_often"
    return Planted(life, clock.START + max(3 * period * HOUR, DAY), note, also, "test_timer_wrong")


def test_never_sent(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    kept = [s for s in life if s.event not in TESTS]
    pairs = Pairs(site.index + 1, 5000)
    if site.sends_openings == "no":  # a panel that lives but never tests must be seen to live
        for week in range(clock.WEEKS):
            start = clock.monday(week) + dice.between(DAY, 5 * DAY)
            kept += pairs.episode(site, start, dice.between(20 * MINUTE, 2 * HOUR), "301")
    return Planted(
        kept, clock.START + 3 * DAY, "other signals arrive, never one test", "test_overdue", "test_timer_missing"
    )


def test_reports_trouble(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    since = clock.at(f"{strength} 00:00")
    life = [replace(s, event="E608") if s.event == "E602" and s.at >= since else s for s in life]
    return Planted(life, since + 2 * DAY, f"608 in place of 602 since {strength}")


def supervision_missed(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Gaps over the interval, again and again: ``strength`` = how many a week."""
    limit = HOUR if site.way().supervision_interval == "60min" else 6 * HOUR
    gaps: list[tuple[float, float]] = []
    for week in range(2, clock.WEEKS):
        for _ in range(int(strength)):
            start = clock.monday(week) + dice.between(0, 6 * DAY)
            gaps.append((start, start + limit * dice.between(1.6, 4.0)))
    first = site.way()

    def lost(s: Signal) -> bool:
        on_path = s.form == "check_in" and (s.receiver, s.line) == (first.receiver, first.line)
        return on_path and any(a <= s.at < b for a, b in gaps)

    note = f"check-ins of path {first.path} stop {strength} times a week for 1.6 to 4 times the interval"
    return Planted([s for s in life if not lost(s)], clock.monday(3), note, cause=_bad_way(site))


def supervision_never_seen(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    kept = [s for s in life if s.form != "check_in"]
    note = "supervised by the roster, never one check-in"
    return Planted(kept, clock.START + 2 * DAY, note, "supervision_missed", "supervision_not_enabled")


def line_cut_standing(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = when the line went for good; two short cuts with restores lie before it."""
    cut = clock.at(strength)
    line = next(p for p in site.paths if p.kind == "phone")
    other = next(p for p in site.paths if p is not line)
    kept = [s for s in life if s.event[1:] != "351" or s.at < cut - DAY]
    pairs = Pairs(site.index + 1, 5000)
    for week in (0, 2):
        start = clock.monday(week) + dice.between(DAY, 4 * DAY)
        kept += pairs.episode(site, start, dice.between(5 * MINUTE, HOUR), "351", path=other.path)
    # The transmitter's own test of a line goes by that line or not at all; everything else takes the other way.
    own = (line.receiver, line.line, "communicator")
    kept = [s for s in kept if s.at < cut or s.event not in TESTS or (s.receiver, s.line, s.origin) != own]
    kept = [_moved(s, line, other) if s.at >= cut else s for s in kept]
    kept.append(site.say(cut, "E351", path=other.path, origin="communicator"))
    also = "primary_path_silent;test_overdue" if line is site.paths[0] else "backup_path_silent;test_overdue"
    return Planted(kept, cut + DAY, f"E351 {strength}, never restored; earlier cuts were", also, "phone_line_faulty")


def line_cut_flapping(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = cuts a week, most of them minutes long."""
    other = next(p for p in site.paths if p.kind != "phone")
    pairs = Pairs(site.index + 1, 5000)
    kept = [s for s in life if s.event[1:] != "351"]
    moment = clock.monday(1) + dice.between(0, DAY)
    step = 7 * DAY / float(strength)
    while moment < clock.END - 2 * HOUR:
        length = dice.between(1 * MINUTE, 14 * MINUTE)
        kept += pairs.episode(site, moment, length, "351", path=other.path, origin="communicator")
        moment += length + dice.between(0.3, 1.7) * step
    return Planted(kept, clock.monday(3), f"about {strength} line cuts a week, minutes each", cause="phone_line_faulty")


def primary_path_silent(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    since = clock.at(strength)
    first, second = site.paths[0], site.paths[1]
    life = [_moved(s, first, second) if s.at >= since else s for s in life]
    note = f"everything by {second.path} since {strength}, nothing by {first.path}"
    # A phone path left silent has no line tests any more either.
    return Planted(life, since + 2 * DAY, note, "test_overdue;line_cut_blind", "primary_path_dead")


def restores_missing(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = the family whose restores are not programmed: alarm, trouble or ac."""
    pairs = Pairs(site.index + 1, 5000)
    for week in range(clock.WEEKS):
        for turn in range(3):
            start = clock.monday(week) + dice.between(0.2, 6.3) * DAY
            if strength == "alarm":
                zones = protecting(site)
                life += alarm(site, pairs, dice, start, zones[(week * 3 + turn) % len(zones)])
            elif strength == "trouble":
                life += trouble(site, pairs, dice, start)
            else:
                life += pairs.episode(site, start, dice.between(10 * MINUTE, 2 * HOUR), "301")
    families = {"alarm": ("R1",), "trouble": ("R33", "R37", "R38"), "ac": ("R301",)}[strength]
    life = [s for s in life if not s.event.startswith(families)]
    note = f"no restore of family {strength} ever arrives; others do"
    return Planted(life, clock.monday(4), note, cause="restores_not_programmed")


def standing(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """A condition that came and stayed: ``strength`` = code/instant; it had come and gone before."""
    code, since_text = strength.split("/")
    since = clock.at(since_text)
    life = [s for s in life if s.event[1:] != code or s.at < since - DAY]
    pairs = Pairs(site.index + 1, 5000)
    zone, partition = (protecting(site)[0].zone, "01") if code == "373" else ("000", "00")
    for week in (0, 1):
        start = clock.monday(week) + dice.between(DAY, 5 * DAY)
        life += pairs.episode(site, start, dice.between(20 * MINUTE, 3 * HOUR), code, zone, partition)
    life.append(site.say(since, f"E{code}", zone=zone, partition=partition))
    note = f"E{code} {since_text} never restored; earlier ones were"
    return Planted(life, since + 2 * DAY, note, cause=STANDING_CAUSES.get(code, ""))


def on_test_too_long(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    since = clock.at(strength)
    site.on_test.append((since, 0, "test by technician"))
    return Planted(
        life, since + 4 * DAY, f"on test since {strength}, never taken off; signals go on", cause="left_on_test"
    )


def roster_incomplete(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    if strength == "system_type":
        site.system_type = ""
    elif strength == "paths":
        site.paths_on_roster = False
    elif strength == "receiver":
        site.paths = [replace(p) for p in site.paths]
        for path in site.paths:
            path.receiver = path.line = ""
    else:
        raise ValueError(f"unknown part of the roster: {strength}")
    return Planted(life, clock.START, f"roster row without {strength}; the log is healthy", cause="roster_wrong")


def _dead_way(site: Site) -> str:
    """Why nothing comes any more from a site whose last days were sound: its one telephone line, or its path."""
    return "phone_line_faulty" if site.way().kind == "phone" else "primary_path_dead"


def _bad_way(site: Site) -> str:
    """Why some of it comes and some does not."""
    return "phone_line_faulty" if site.way().kind == "phone" else "weak_radio_path"


def _moved(s: Signal, gone: object, other: object) -> Signal:
    """The signal on the other way, if it used the one that is gone."""
    here = (gone.receiver, gone.line)  # type: ignore[attr-defined]
    if (s.receiver, s.line) != here:
        return s
    return replace(s, receiver=other.receiver, line=other.line)  # type: ignore[attr-defined]


PLANTERS: dict[str, Planter] = {
    "never_heard": never_heard,
    "gone_silent": gone_silent,
    "test_overdue": test_overdue,
    "tests_missed_often": tests_missed_often,
    "test_interval_too_long": test_interval_too_long,
    "test_never_sent": test_never_sent,
    "test_reports_trouble": test_reports_trouble,
    "supervision_missed": supervision_missed,
    "supervision_never_seen": supervision_never_seen,
    "line_cut_standing": line_cut_standing,
    "line_cut_flapping": line_cut_flapping,
    "primary_path_silent": primary_path_silent,
    "restores_missing": restores_missing,
    "ac_power_out_standing": standing,
    "trouble_standing": standing,
    "on_test_too_long": on_test_too_long,
    "roster_incomplete": roster_incomplete,
}
