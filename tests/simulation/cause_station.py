"""A station on which every cause is somebody's: ``python -m tests.simulation.cause_station FOLDER [SEED [OBSERVED]]``.

Each cause of the project's list is carried by twelve sites of fitting kinds at strengths from weak to strong, some
sites carry two, and healthy sites of every kind with their stories live beside them, incidents over all. Thirteen
weeks are lived; the exports hold the last OBSERVED of them (1, 2, 4 or 13), the same lives whichever. Written:
``exports/``, ``workspace/``, ``incidents_truth.csv`` and ``truth.csv`` (account, causes, ways, level, shows, strays).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path

from tests.simulation import clock
from tests.simulation.cause_ways import DOUBLES, PLANTERS, WAYS, Way, there
from tests.simulation.clock import DAY, HOUR
from tests.simulation.dice import Dice, seeded
from tests.simulation.exports import with_resends
from tests.simulation.faults_programming import EXITS
from tests.simulation.healthy import AFTER, END, write_truth
from tests.simulation.healthy_exports import Exports, Roster
from tests.simulation.healthy_noise import noise
from tests.simulation.healthy_population import numbers, one_site, population
from tests.simulation.incidents import own_signals
from tests.simulation.life import live, stamped
from tests.simulation.numbers import Numbers
from tests.simulation.roster import write_csv
from tests.simulation.site import Signal, Site
from tests.simulation.upheavals import Upheaval, panel_words, plan, strike

WEEKS, EACH, PAIRS_EACH, HEALTHY, SEED = 13, 12, 3, 600, 1
# Conditions of which a site tells the end too.
ENDED = {"301", "302", "309", "310", "351", "373", "381", "384", "571", "573", "607", "627"}
LATEST, EARLIEST = 4 * DAY, 27 * DAY  # before the end of the log: a fault has had so long to show


@dataclass
class Carried:
    """What a site carries: causes, planters and strengths, level 0 (weak) to 1 (strong).

    since, shows: since when it is so, and by when enough of it is in the log to be seen [s].
    """

    account: str
    causes: tuple[str, ...] = ()
    ways: list[str] = field(default_factory=list)
    level: float = 0.0
    shows: int = 0
    since: int = 0
    strays: list[str] = field(default_factory=list)

    def row(self) -> list[str]:
        """The row of truth.csv."""
        shows = f"{clock.wall(self.shows):%Y-%m-%dT%H:%M}" if self.shows else ""
        return [self.account, ";".join(self.causes), ";".join(self.ways), f"{self.level:.2f}", shows,
                ";".join(self.strays)]  # fmt: skip


COLUMNS = ["account", "causes", "ways", "level", "shows", "strays"]


def carriers(each: int) -> Iterator[tuple[str, tuple[str, ...], int]]:
    """(archetype, causes, turn) of every site that carries something."""
    for cause in WAYS:
        ways = there(cause)
        for turn in range(each if ways else 0):
            kinds = ways[turn % len(ways)].kinds
            yield kinds[turn // len(ways) % len(kinds)], (cause,), turn
    for kind, *both in DOUBLES:
        for turn in range(min(each, PAIRS_EACH) if all(there(cause, kind) for cause in both) else 0):
            yield kind, tuple(both), turn


def spoil(site: Site, life: list[Signal], causes: tuple[str, ...], turn: int) -> tuple[list[Signal], Carried]:
    """The life with these causes in it, one after the other."""
    told = Carried(site.account, causes)
    for place, cause in enumerate(causes):
        ways = there(cause)
        way = there(cause, site.archetype)[0] if len(causes) > 1 else ways[turn % len(ways)]
        dice = Dice(14, site.index, place)
        step = turn // len(ways) % len(way.strengths)
        since, strength = _strength(way, step, dice)
        planted = PLANTERS[way.planter](site, life, dice, strength)
        life = planted.signals + (_ended(site, planted.signals, dice, since) if way.ended else [])
        told.ways.append(f"{way.planter} {planted.note}".replace(";", ","))
        told.level = max(told.level, (step + 1) / len(way.strengths))
        told.since = max(told.since, since)
        told.shows = max(told.shows, min(planted.shows_at, clock.END))
        told.strays += [stray.account for stray in planted.strays]
    return life, told


def _strength(way: Way, step: int, dice: Dice) -> tuple[int, str]:
    """The instant from which on it is so, and the strength with it."""
    last = clock.monday(WEEKS)
    at = clock.wall(int(dice.between(last - EARLIEST, last - LATEST)))
    told = f"{at:%Y-%m-%d} {9 + at.hour % 8:02d}:{at:%M}"
    before = f"{at - timedelta(days=21):%Y-%m-%d} 12:00"
    return clock.at(told), way.strengths[step].format(since=told, day=f"{at:%F}", before=before)


def _ended(site: Site, life: list[Signal], dice: Dice, since: int) -> list[Signal]:
    """The earlier times of what stays since ``since``, moved to the fortnight before it.

    A planter puts them at the begin of all weeks, which a log of a few weeks does not hold; a mains failure, a line
    fault or a point switched out is nothing that a site knows once a quarter.
    """
    stays = [s for s in life if s.at >= since - HOUR and s.event[0] == "E" and s.form == "contact_id"]
    codes = {s.event[1:] for s in stays if s.at <= since + DAY} & ENDED
    found: list[Signal] = []
    for code in sorted(codes):
        first = next(s for s in stays if s.event[1:] == code)
        for days in (dice.between(2, 6), dice.between(7, 13)):
            start = int(since - days * DAY)
            end = replace(first, event=EXITS.get(code, f"R{code}"), at=start + int(dice.between(HOUR, 4 * HOUR)))
            found += [replace(first, at=start, pair=0), replace(end, pair=0)]
            if code in EXITS:
                site.on_test.append((start - HOUR, end.at + HOUR, "service"))
    return found


def lives(
    each: int, healthy: int, upheavals: list[Upheaval]
) -> Iterator[tuple[Site, list[Signal], Carried]]:  # fmt: skip
    """Every site with what reaches the log of it, carriers first. A fault spoils what a panel says in incidents too."""
    carried = list(carriers(each))
    count = len(carried) + healthy
    told = clock.monday(WEEKS - 5), clock.monday(WEEKS)
    ordinary = list(population(count, told))[len(carried) :]
    given = numbers(count)
    taken = Numbers(set(given))
    for index, (kind, causes, turn) in enumerate(carried):
        site = one_site(index, count, given[index], kind)
        site.numbers = taken
        life, truth = spoil(site, _ordinary(site) + stamped(site, panel_words(site, upheavals)), causes, turn)
        struck = strike(site, with_resends(life, site.index), upheavals, told=True)
        if all(s.at < truth.since + DAY for s in life):  # nobody reports the end of an outage from a dead site
            struck = [s for s in struck if s.at < truth.since + DAY]
        yield site, struck, truth
    for site in ordinary:
        yield site, strike(site, with_resends(_ordinary(site), site.index), upheavals), Carried(site.account)


def _ordinary(site: Site) -> list[Signal]:
    return stamped(site, live(site) + noise(site, Dice(13, site.index)))


def build(
    folder: Path, seed: int = SEED, observed: int = WEEKS, each: int = EACH, healthy: int = HEALTHY
) -> list[Carried]:  # fmt: skip
    """Writes the station and answers the truth, one entry per account of the roster."""
    truth: list[Carried] = []
    with seeded(seed, 20270104), clock.calendar(END - timedelta(weeks=WEEKS), WEEKS + AFTER):
        last = clock.monday(WEEKS)
        exports = Exports(folder / "exports", clock.monday(WEEKS - observed), last)
        sheets = Roster(folder / "workspace")
        count = sum(1 for _ in carriers(each)) + healthy
        places = population(count, (clock.START, last))
        upheavals = plan(places, clock.monday(WEEKS - 4), last)
        for site, signals, carried in lives(each, healthy, upheavals):
            sheets.write(site)
            exports.write(signals)
            truth.append(carried)
        own = own_signals([u.outage() for u in upheavals])
        exports.write(s for s in own if not any(u.outage().holds(s) for u in upheavals if u.kind == "export_gap"))
        sheets.close()
        exports.close()
        write_truth(folder / "incidents_truth.csv", upheavals)
        write_csv(folder / "truth.csv", COLUMNS, [carried.row() for carried in truth])
    return truth


def main() -> None:
    if not 2 <= len(sys.argv) <= 4:
        sys.exit("usage: python -m tests.simulation.cause_station FOLDER [SEED [OBSERVED]]")
    given = [int(text) for text in sys.argv[2:]]
    seed, observed = [*given, *(SEED, WEEKS)[len(given) :]]
    truth = build(Path(sys.argv[1]), seed, observed)
    print(f"{len(truth)} accounts, {sum(bool(c.causes) for c in truth)} of them carry a cause")


if __name__ == "__main__":
    main()
