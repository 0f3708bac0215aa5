"""The faults of the supervision of paths, and of the panel behind a transmitter."""

from __future__ import annotations

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import LOSS_CODES, Pairs, own_point
from tests.simulation.planting import Planted, Planter
from tests.simulation.site import Signal, Site

CAPTURE_CODE = "330"  # the peripheral the panel's line is plugged into


def capture_supervision_trouble(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = losses a week, or ``standing``/since: the transmitter says that it has lost the panel.

    Nothing of the panel comes while it stands.
    """
    pairs = Pairs(site.index + 1, 5000)
    own = {"zone": own_point(site), "origin": "communicator"}
    if strength.startswith("standing/"):
        since = clock.at(strength.partition("/")[2])
        kept = [s for s in life if s.at < since or s.origin != "panel"]
        kept += pairs.episode(site, since - 9 * DAY, 3 * HOUR, CAPTURE_CODE, **own)
        kept.append(site.say(since, f"E{CAPTURE_CODE}", **own))
        note = f"{strength}: the transmitter has lost the panel and says so"
        also = "panel_silent;test_overdue;trouble_standing;contacts_only"
        return Planted(kept, since + 2 * DAY, note, also, "capture_card_fault")
    kept = life
    for week in range(1, clock.WEEKS):
        for turn in range(int(strength)):
            start = clock.monday(week) + (turn + dice.between(0.1, 0.7)) * 6.5 * DAY / int(strength)
            length = dice.between(20 * MINUTE, 5 * HOUR)
            kept = [s for s in kept if not start <= s.at < start + length or s.origin != "panel" or s.pair]
            kept += pairs.episode(site, start, length, CAPTURE_CODE, **own)
    note = f"the transmitter loses the panel {strength} times a week for 20 min to 5 h"
    return Planted(kept, clock.monday(3), note, "tests_missed_often;test_overdue", "capture_card_fault")


def supervision_flapping(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = losses a week, each a few minutes, told by the network; they begin in the second week."""
    way = site.way()
    code = LOSS_CODES[way.kind]
    pairs = Pairs(site.index + 1, 5000)
    kept = [s for s in life if s.event[1:] != code]
    moment, step = clock.monday(1) + dice.between(0, DAY), 7 * DAY / float(strength)
    while moment < clock.END - HOUR:
        length = dice.between(3 * MINUTE, 25 * MINUTE)
        kept += pairs.episode(site, moment, length, code, own_point(site), path=way.path, origin="network")
        moment += length + dice.between(0.3, 1.7) * step
    note = f"path {way.path} lost and back about {strength} times a week"
    return Planted(kept, clock.monday(3), note, "", "weak_radio_path")


def supervision_interval_too_long(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = roster/interval as agreed there, or log/hours between the check-ins that come."""
    where, value = strength.split("/")
    way = site.way()
    hours = int(value.rstrip("h"))
    every = max(hours * HOUR // way.check_in_s, 1) if way.check_in_s else 1
    if where == "roster":
        way.supervision_interval = value
        every = max(every // 2, 1)
    turn, kept = 0, []
    for s in sorted(life, key=lambda one: one.at):
        if s.form == "check_in" and (s.receiver, s.line) == (way.receiver, way.line):
            turn += 1
            if turn % every:
                continue
        kept.append(s)
    told = f"the roster asks {value}" if where == "roster" else f"check-ins come every {hours} h"
    also = "" if where == "roster" else "supervision_missed"
    return Planted(kept, clock.monday(2), f"path {way.path}: {told}", also, "supervision_interval_wrong")


PLANTERS: dict[str, Planter] = {
    "capture_supervision_trouble": capture_supervision_trouble,
    "supervision_flapping": supervision_flapping,
    "supervision_interval_too_long": supervision_interval_too_long,
}
