"""Causes that no planter of a single check stands for, from the failure signatures of the trade.

Signatures `second-line-not-paralleled`, `output-jack-backfed`, `ground-fault-wet` and the account owners who switch
off a system they still pay for, of the project's design (common practice where they name no source).
"""

from __future__ import annotations

from dataclasses import replace

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs
from tests.simulation.planting import Planted, Planter
from tests.simulation.site import Signal, Site

TESTS = ("E602", "E608")


def second_line_terminal_open(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``SHARE/SINCE``: nothing goes by the dialer's second line; such a share of its tests is tried again
    by the first, minutes later. The panel tells of the open line once (352) and never of its return."""
    share, text = strength.split("/")
    since = clock.at(text)
    first, second = site.paths[0], site.paths[1]
    kept = [s for s in life if s.event[1:] != "352" or s.at < since - DAY]
    found: list[Signal] = []
    for s in kept:
        if s.at < since or (s.receiver, s.line) != (second.receiver, second.line):
            found.append(s)
        elif s.event not in TESTS or dice.chance(float(share)):
            late = s.at + dice.whole(90, 400)
            found.append(replace(s, at=late, receiver=first.receiver, line=first.line))
    found.append(site.say(since + dice.between(MINUTE, 4 * MINUTE), "E352"))
    note = f"second line open since {text}: {share} of its tests tried again by the first"
    also = "backup_path_silent;test_overdue;tests_missed_often;line_cut_standing;line_cut_always"
    return Planted(found, since + 3 * DAY, note, also, "second_line_terminal_open")


def lines_joined(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``SHARE/A_DAY/SINCE``: in the hours in which people telephone, such a share of what the panel dials is
    lost, the line comes and goes so often a working day, and now and then the panel says that it did not get through.
    Nights are clean."""
    share, a_day, text = strength.split("/")
    since = clock.at(text)
    pairs = Pairs(site.index + 1, 5000)
    other = next((p.path for p in site.paths if p.kind != "phone"), "")

    def busy(moment: int) -> bool:
        at = clock.wall(moment)
        return at.weekday() < 6 and 8 <= at.hour < 21

    found = [
        s
        for s in life
        if s.at < since or not busy(s.at) or s.origin != "panel" or s.pair or not dice.chance(float(share))
    ]
    for at in dice.times(since, clock.END - HOUR, 7 * float(a_day)):
        if not busy(at):
            continue
        length = dice.between(2 * MINUTE, 12 * MINUTE)
        if other:
            found += pairs.episode(site, at, length, "351", path=other, origin="communicator")
        elif dice.chance(0.4):
            found += pairs.episode(site, at + length, dice.between(20, 90), "354")
    note = f"telephones on the panel's line since {text}: {share} of what it dials by day is lost"
    also = "tests_missed_often;test_overdue;line_cut_flapping;dialer_fails_to_report"
    return Planted(found, since + 14 * DAY, note, also, "lines_joined")


def ground_fault(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``wet/A_WEEK/SINCE``: a ground fault for hours, in bouts; ``standing/SINCE``: one that stays."""
    kind, *rest = strength.split("/")
    since = clock.at(rest[-1])
    pairs = Pairs(site.index + 1, 5000)
    kept = [s for s in life if s.event[1:] != "310" or s.at < since - DAY]
    if kind == "standing":
        kept += pairs.episode(site, since - dice.between(5, 25) * DAY, 2 * HOUR, "310")
        kept.append(site.say(since, "E310"))
        return Planted(kept, since + 2 * DAY, f"E310 {rest[-1]}, never restored", cause="ground_fault")
    moment = since + dice.between(0, DAY)
    step = 7 * DAY / float(rest[0])
    while moment < clock.END - 30 * HOUR:
        length = dice.between(2 * HOUR, 26 * HOUR)
        kept += pairs.episode(site, moment, length, "310")
        moment += length + step * dice.between(0.2, 1.4)
    note = f"E310 about {rest[0]} times a week for hours since {rest[-1]}"
    return Planted(kept, since + 10 * DAY, note, "trouble_standing", "ground_fault")


def site_out_of_service(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """Strength ``off/SINCE``: from one minute to the next nothing more; ``closing/SINCE``: a week of closings only,
    mains switched off, then nothing more."""
    kind, text = strength.split("/")
    last = clock.at(text)
    kept = [s for s in life if s.at < last]
    if kind == "closing":
        kept = [s for s in kept if s.at < last - 7 * DAY or s.event not in ("E401", "R401")]
        kept.append(site.say(last - dice.between(HOUR, 3 * HOUR), "E301"))
        if dice.chance(0.5):
            kept.append(site.say(last - 5 * MINUTE, "E302"))
    also = "gone_silent;test_overdue;supervision_missed;silent_after_power_loss;ac_power_out_standing"
    return Planted(kept, last + 2 * DAY, f"{kind}: given up {text}", also, "site_out_of_service")


PLANTERS: dict[str, Planter] = {
    "second_line_terminal_open": second_line_terminal_open,
    "lines_joined": lines_joined,
    "ground_fault": ground_fault,
    "site_out_of_service": site_out_of_service,
}
