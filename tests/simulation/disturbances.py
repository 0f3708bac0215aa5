"""Disturbances that many sites share: power, telephone or a network fails in a place, a storm goes over it.

Each takes the signals of healthy lives and answers those that reach the log with the disturbance in them.
How they look: common practice, no source (delays of power reports 0 to 3 h: panel listing texts).
"""

from __future__ import annotations

from collections.abc import Iterable

from tests.simulation.clock import HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import own_point
from tests.simulation.site import Path, Signal, Site
from tests.simulation.station import ALARM_CODES

_PAIR = 8000


def power_outage(
    signals: list[Signal], sites: Iterable[Site], begin: int, end: int, *, key: int, share: float = 0.9,
    delay_s: float = 2 * MINUTE, stragglers: Iterable[str] = (),
) -> list[Signal]:  # fmt: skip
    """``share`` of the sites report mains lost within ``delay_s``, and back after ``end``; stragglers never."""
    dice, late = Dice(21, key), set(stragglers)
    found = list(signals)
    for site in sites:
        struck = dice.chance(share) or site.account in late
        lost, back = begin + dice.between(0, delay_s), end + dice.between(0, 10 * MINUTE)
        if struck:
            pair = (site.index + 1) * 10000 + _PAIR + key
            found.append(site.say(lost, "E301", pair=pair))
            if site.account not in late:
                found.append(site.say(back, "R301", pair=pair))
    return found


def phone_outage(
    signals: list[Signal], sites: Iterable[Site], begin: int, end: int, *, key: int, stragglers: Iterable[str] = ()
) -> list[Signal]:  # fmt: skip
    """Nothing comes over the telephone lines of these sites; who has another path tells of it (351)."""
    late = set(stragglers)
    struck = {s.account: s for s in sites if any(p.kind == "phone" for p in s.paths)}
    found = [s for s in signals if not _over(s, struck, "phone", begin, end, late)]
    dice = Dice(22, key)
    for site in struck.values():
        other = next((p.path for p in site.paths if p.kind != "phone"), "")
        told = begin + dice.between(30, 2 * MINUTE), end + dice.between(30, 2 * MINUTE)
        if other:
            pair = (site.index + 1) * 10000 + _PAIR + key
            say = {"path": other, "origin": "communicator", "pair": pair}
            found.append(site.say(told[0], "E351", **say))
            if site.account not in late:
                found.append(site.say(told[1], "R351", **say))
    return found


def network_outage(
    signals: list[Signal], sites: Iterable[Site], kind: str, network: str, begin: int, end: int,
    *, key: int | None = None,
) -> list[Signal]:  # fmt: skip
    """Nothing comes over the paths of one kind and network; with a ``key``, who has another path tells of it (350)."""
    struck = {s.account: s for s in sites if any((p.kind, p.network) == (kind, network) for p in s.paths)}
    found = [s for s in signals if not _over(s, struck, kind, begin, end, set())]
    dice = Dice(25, key or 0)
    for site in struck.values() if key is not None else ():
        other = next((p.path for p in site.paths if p.kind != kind), "")
        if other:
            say = {"path": other, "origin": "communicator", "pair": (site.index + 1) * 10000 + _PAIR + (key or 0)}
            found.append(site.say(begin + dice.between(30, 3 * MINUTE), "E350", zone=own_point(site), **say))
            found.append(site.say(end + dice.between(30, 3 * MINUTE), "R350", zone=own_point(site), **say))
    return found


def storm(signals: list[Signal], sites: Iterable[Site], begin: int, end: int, *, key: int) -> list[Signal]:
    """Every site reports one or two of its own short alarms or troubles: nothing that they share but time."""
    dice = Dice(23, key)
    found = list(signals)
    for site in sites:
        zone = next(z for z in site.zones if z.kind in ALARM_CODES)
        codes = (ALARM_CODES[zone.kind], "373" if site.system_type in ("fire", "combined") else "380")
        for code in codes[: dice.whole(1, 2)]:
            at = dice.between(begin, end)
            pair = (site.index + 1) * 10000 + _PAIR + key
            found += [site.say(at, f"E{code}", zone=zone.zone, partition=zone.partition, pair=pair)]
            found += [site.say(at + 5 * MINUTE, f"R{code}", zone=zone.zone, partition=zone.partition, pair=pair)]
    return found


def flapping(
    signals: list[Signal], site: Site, code: str, begin: int, end: int, a_day: float, key: int
) -> list[Signal]:
    """A site of its own trouble: the condition comes and goes ``a_day`` times a day."""
    dice = Dice(24, key, site.index)
    found = list(signals)
    for at in dice.times(begin, end, 7 * a_day):
        found += [site.say(at, f"E{code}"), site.say(at + dice.between(MINUTE, HOUR / 4), f"R{code}")]
    return found


def _over(s: Signal, struck: dict[str, Site], kind: str, begin: int, end: int, late: set[str]) -> bool:
    site = struck.get(s.account)
    if site is None or s.at < begin or (s.at >= end and s.account not in late):
        return False
    ways: list[Path] = [p for p in site.paths if (p.receiver, p.line) == (s.receiver, s.line)]
    return any(p.kind == kind for p in ways)
