"""The faults of second paths, line sensing, dialers and late messages."""

from __future__ import annotations

from dataclasses import replace

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import LOSS_CODES, Pairs, own_point
from tests.simulation.faults_contacts import PLANTERS as CONTACTS
from tests.simulation.faults_supervision import PLANTERS as SUPERVISION
from tests.simulation.happenings import lively
from tests.simulation.planting import Planted, Planter
from tests.simulation.site import Path, Signal, Site

LINE_CODES = ("351", "352")


def _on(way: Path, s: Signal) -> bool:
    return (s.receiver, s.line) == (way.receiver, way.line)


def backup_path_silent(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = since when nothing comes by the second path; its loss is never told."""
    since, second = clock.at(strength), site.paths[1]
    code = LOSS_CODES[second.kind]
    kept = [s for s in life if s.at < since or not (_on(second, s) or s.event[1:] == code)]
    also = "test_overdue;supervision_missed" + (";line_cut_blind" if second.kind == "phone" else "")
    return Planted(kept, since + 3 * DAY, f"nothing by {second.path} since {strength}", also, "backup_path_dead")


def line_cut_always(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = installed on/reminder in hours: line sensing on, and no line there.

    The fault opens minutes after the first power-up and comes again with every restart of the transmitter,
    and as a reminder; it never restores.
    """
    day, hours = strength.split("/")
    begin = clock.at(f"{day} 10:00")
    site.installed_on = day
    site.on_test.append((begin, begin + 3 * HOUR, "commissioning"))
    kept = [s for s in life if s.at >= begin and s.event[1:] not in LINE_CODES]
    moments = [begin + dice.between(2 * MINUTE, 9 * MINUTE)]
    moments += [s.at + dice.between(MINUTE, 9 * MINUTE) for s in kept if s.event == "R301"]
    if int(hours):
        steps = range(1, int((clock.END - begin) / (int(hours) * HOUR)))
        moments += [moments[0] + step * int(hours) * HOUR for step in steps]
    kept += [site.say(m, "E351", zone=own_point(site), origin="communicator") for m in moments]
    note = f"E351 minutes after {day} 10:00 and at each restart, never restored"
    return Planted(kept, begin + 8 * DAY, note, "", "line_sensing_without_line")


def line_cut_blind(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = when the line died: nothing by it since, and its sensing never said a word."""
    since = clock.at(strength)
    line = next(p for p in site.paths if p.kind == "phone")
    other = next(p for p in site.paths if p is not line)
    kept = []
    for s in life:
        if s.event[1:] in LINE_CODES:
            continue
        if _on(line, s) and s.at >= since:
            if line is site.paths[0]:  # what the first path cannot carry goes the other way
                kept.append(replace(s, receiver=other.receiver, line=other.line))
            continue
        kept.append(s)
    also = "test_overdue;" + ("primary_path_silent" if line is site.paths[0] else "backup_path_silent")
    return Planted(kept, since + 3 * DAY, f"{line.path} dead since {strength}, never a 351", also, "line_sensing_off")


def dialer_fails_to_report(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = failed messages a week: the panel says so (354) when it gets through again."""
    pairs = Pairs(site.index + 1, 5000)
    step = 7 * DAY / float(strength)
    moment = clock.monday(1) + dice.between(0, DAY)
    while moment < clock.END - 3 * HOUR:
        length = dice.between(MINUTE, 20 * MINUTE)
        life = [*life, *pairs.episode(site, moment, length, "354")]
        moment += dice.between(0.4, 1.6) * step
    note = f"about {strength} times a week a message does not get through (354)"
    return Planted(life, clock.monday(3), note, "", "phone_line_faulty")


def paths_fail_together(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = joint losses in five weeks: one supply feeds both ways.

    The network misses the radio or the check-ins; the box says of the other way what it could not say in time,
    and both come back together. Nothing comes by either way in between.
    """
    first, second = site.paths[0], site.paths[1]
    codes = [LOSS_CODES[first.kind], LOSS_CODES[second.kind]]
    pairs = Pairs(site.index + 1, 5000)
    kept = [s for s in life if s.event[1:] not in codes]
    count = int(strength)
    for turn in range(count):
        start = clock.monday(1) + (turn + dice.between(0.2, 0.8)) * (clock.END - clock.monday(1) - DAY) / count
        length = dice.between(15 * MINUTE, 90 * MINUTE)
        kept = [s for s in kept if not start <= s.at < start + length or s.pair]
        network, box = {"path": first.path, "origin": "network"}, {"path": second.path, "origin": "communicator"}
        kept += pairs.episode(site, start + dice.between(0, 50), length, codes[0], own_point(site), **network)
        kept += pairs.episode(site, start, length + dice.between(2, 40), codes[1], own_point(site), **box)
    note = f"both paths lost together {count} times, and back together"
    return Planted(kept, clock.monday(4), note, "", "power_supply_fault")


def late_delivery(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = from when on/seconds, or ``queue`` and times a week.

    Seconds: what the panel dials arrives so much later, after tries that failed. Queue: the way is held up, and
    what waited arrives within a minute when it opens.
    """
    since_text, how = strength.split("/")
    since = clock.at(since_text)
    life = life + lively(site, dice, 4, ("alarm", "trouble"))
    if how.startswith("queue"):
        late = _queued(site, life, dice, since, int(how.removeprefix("queue")))
        note = f"{how[5:]} times a week since {since_text} messages wait up to two hours and arrive together"
        return Planted(late, since + 8 * DAY, note, "", "weak_radio_path")
    late = []
    for s in life:
        if s.origin != "panel" or s.at < since or s.at > clock.END - HOUR:
            late.append(s)
        else:
            sent = s.at - 5 if site.stamps else 0
            late.append(replace(s, at=s.at + int(float(how) * dice.between(0.7, 1.6)), panel_time=sent))
    note = f"messages of the panel arrive about {how} s late since {since_text}"
    return Planted(late, since + 8 * DAY, note, "", "tone_level_marginal")


def _queued(site: Site, life: list[Signal], dice: Dice, since: int, a_week: int) -> list[Signal]:
    """The way is held up around some alarms: nothing passes, and the panel's messages come when it opens."""
    alarms = sorted(s.at for s in life if s.event.startswith("E1") and s.origin == "panel" and s.at >= since)
    spans = []
    for begin in range(since, clock.END - DAY, 7 * DAY):
        week = [at for at in alarms if begin <= at < min(begin + 7 * DAY, clock.END - DAY)]
        for at in dice.shuffled(week)[:a_week]:
            spans.append((at - dice.between(5 * MINUTE, 40 * MINUTE), at + dice.between(10 * MINUTE, 80 * MINUTE)))
    kept, waiting = [], dict.fromkeys(spans, 0)
    for s in sorted(life, key=lambda one: one.at):
        span = next((span for span in spans if span[0] <= s.at < span[1]), None)
        if span is None:
            kept.append(s)
        elif s.form != "check_in":  # in their order; who only says that he is there says so later
            waiting[span] += 4
            sent = s.at - 5 if site.stamps and s.origin == "panel" else 0
            kept.append(replace(s, at=int(span[1]) + waiting[span], panel_time=sent))
    return kept


PLANTERS: dict[str, Planter] = {
    "backup_path_silent": backup_path_silent,
    "line_cut_always": line_cut_always,
    "line_cut_blind": line_cut_blind,
    "dialer_fails_to_report": dialer_fails_to_report,
    "paths_fail_together": paths_fail_together,
    "late_delivery": late_delivery,
    **CONTACTS,
    **SUPERVISION,
}
