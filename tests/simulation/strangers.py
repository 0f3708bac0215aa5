"""Accounts that speak but stand on no roster."""

from __future__ import annotations

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.plan import TruthRow
from tests.simulation.site import Signal, Site


def strangers(sites: list[Site]) -> tuple[list[Signal], list[TruthRow]]:
    """Five unknown accounts: a mistyped number, an alarm, a full life, a burst and two lone lines."""
    numbers = sites[0].numbers
    dice = Dice(6)
    truth: list[TruthRow] = []
    signals: list[Signal] = []

    def truthful(account: str, since: int, note: str) -> None:
        truth.append(TruthRow(account, "account_not_on_roster", clock.week_label(since), "", note))

    silent = next(s for s in sites if s.role == "never_heard" and s.archetype == "fire_dialer")
    way = silent.way()
    number = numbers.slip(silent.account, "swap")
    phase = dice.between(0, 6 * HOUR)
    for step in range(int((clock.END - clock.START) / (6 * HOUR))):
        moment = int(clock.START + phase + step * 6 * HOUR + dice.between(0, 20))
        signals.append(Signal(moment, way.receiver, way.line, number, "E602"))
    truthful(number, clock.START + DAY, f"tests every 6 h; two digits swapped from {silent.account}")

    number = numbers.free(dice)
    start = clock.at("2026-11-18 21:17")
    fire = ((0, "E110", "004"), (38, "E111", "005"), (900, "R110", "004"), (905, "R111", "005"))
    for offset, event, zone in fire:
        signals.append(Signal(start + offset, "1", "1", number, event, "01", zone))
    truthful(number, start, "a fire alarm with restores, nothing else ever")

    number = numbers.free(dice)
    for day in clock.days():
        opened = clock.local_day(day, 8.2 * HOUR + dice.between(0, 20 * MINUTE))
        closed = clock.local_day(day, 17.5 * HOUR + dice.between(0, 30 * MINUTE))
        signals.append(Signal(opened, "3", "1", number, "E401", "01", "002"))
        signals.append(Signal(closed, "3", "1", number, "R401", "01", "002"))
        signals.append(Signal(clock.local_day(day, 3.3 * HOUR), "3", "1", number, "E602"))
    truthful(number, clock.START + DAY, "a burglary system with openings and daily tests")

    number = numbers.free(dice)
    start = clock.at("2026-11-12 13:40")
    for turn in range(14):
        zone = f"{1 + turn // 2:03d}"
        event = ("E131", "R131")[turn % 2]
        signals.append(Signal(start + turn * 45, "2", "1", number, event, "01", zone))
    truthful(number, start, "a burst of 14 panel signals in ten minutes")

    number = numbers.free(dice)
    start = clock.at("2026-11-20 04:30")
    signals.append(Signal(start, "2", "3", number, "E301"))
    signals.append(Signal(start + 2 * HOUR, "2", "3", number, "R301"))
    truthful(number, start, "a power loss and its restore, two lines in all")
    return signals, truth
