"""A big station of healthy sites, one after the other: every archetype of the demo and one-way radio besides.

Of each hundred sites a few are new, cancelled, suspended, not yet installed or closed for a season, and some are
inspected or serviced on test. Which share is which: invented.
"""

from __future__ import annotations

from collections.abc import Iterator

from tests.simulation import clock
from tests.simulation.archetypes import CAPTURED, POPULATION, make
from tests.simulation.clock import DAY, HOUR
from tests.simulation.dice import Dice
from tests.simulation.site import Site, TestTimer

# (archetype, share, system types to draw from); the demo's lines, whatever block they stand in there,
# save that contacts stand beside fire panels alone: on a combined panel one alarm relay told as fire is a wiring fault.
KINDS = [
    *((name, share, ("fire",) if name in CAPTURED else types) for name, share, types, _ in POPULATION),
    ("fire_one_way_radio", 12, ("fire",)),
]
# story -> share of the sites
STORIES = {"new": 0.02, "cancelled": 0.02, "suspended": 0.004, "pending": 0.004, "seasonal": 0.02}
INSPECTED, SERVICED = 0.008, 0.004  # a week
FIRST_LONG_NUMBER, LONG_STEP = 10_007, 43


def numbers(count: int) -> list[str]:
    """Distinct numbers in a scattered order: seven in twenty have four digits, the rest six; leading zeros in many."""
    dice = Dice(1)
    short = dice.shuffled([f"{n:04d}" for n in range(101, 9990) if len(set(f"{n:04d}")) > 1 and n not in (1234, 4321)])
    short = short[: count * 7 // 20]
    every = range(FIRST_LONG_NUMBER, 1_000_000, LONG_STEP)
    long = dice.shuffled([f"{n:06d}" for n in every if f"{n:06d}" not in ("123456", "654321")])
    return dice.shuffled([*short, *long[: count - len(short)]])


def population(count: int, told: tuple[int, int]) -> Iterator[Site]:
    """``count`` sites in a fixed order. ``told``: the instants [s] between which their stories happen."""
    taken = numbers(count)
    if len(taken) < count:
        raise ValueError(f"there are numbers for {len(taken)} accounts only")
    before: Site | None = None
    for index in range(count):
        site = one_site(index, count, taken[index])
        dice = Dice(12, index)
        if before is not None and site.archetype == "burglary_dialer" and dice.chance(0.1):
            site.site, site.customer, site.area = before.site, before.customer, before.area
            site.exchange, site.dealer, site.installer = before.exchange, before.dealer, before.installer
        _story(site, dice, told)
        before = site
        yield site


def one_site(index: int, count: int, number: str, kind: str = "") -> Site:
    """A site of the archetype ``kind``, or of one drawn by share, in a station of ``count`` sites."""
    fitting = [line for line in KINDS if kind in ("", line[0])]
    kind, _, types = Dice(11, index).weighted(fitting, [share for _, share, _ in fitting])
    dice = Dice(2, index)
    site = make(index, number, kind, types, dice)
    area = dice.whole(1, max(8, count // 350))
    site.area, site.exchange = f"Area {area:02d}", f"Exchange {(area + 1) // 2:02d}"
    branch = dice.whole(1, max(1, count // 2000))
    site.dealer, site.installer = f"{site.dealer} {branch}", f"{site.installer} {branch}"
    site.customer = f"Customer {dice.whole(1, max(260, count * 4 // 5)):05d}"
    site.site = f"Site {index + 1:05d}"
    site.first_at, site.last_at = clock.START, clock.END
    tried = {path for timer in site.timers for path in timer.paths}
    if kind == "fire_radio" and len(site.paths) > 1 and "phone" not in tried:  # the line behind it is tried daily too
        site.timers.append(TestTimer(("phone",), DAY, "communicator"))
        site.paths[1].test_interval = "24h" if dice.chance(0.5) else ""
    return site


def _story(site: Site, dice: Dice, told: tuple[int, int]) -> None:
    """What happens to the site in these weeks, if anything."""
    day = clock.local_day(clock.wall(int(dice.between(told[0], told[1] - 2 * DAY))).date(), dice.between(8, 14) * HOUR)
    if clock.wall(day).weekday() > 4:  # nobody commissions, cancels or shuts on a weekend
        day -= 2 * DAY
    date = f"{clock.wall(day):%Y-%m-%d}"
    story = dice.weighted([*STORIES, ""], [*STORIES.values(), 1 - sum(STORIES.values())])
    site.role = story
    if story == "new":
        site.first_at, site.installed_on = day, date
        site.on_test.append((day, day + 4 * HOUR, "commissioning"))
    elif story in ("cancelled", "suspended"):
        site.status, site.last_at = story, day
        site.cancelled_on = date if story == "cancelled" else ""
    elif story == "pending":
        site.status, site.installed_on, site.last_at = "pending", "", clock.START
    elif story == "seasonal":
        site.status = "seasonal"
        site.sends_openings = "yes" if site.system_type in ("burglary", "combined") else "no"
        site.openings_end = clock.wall(day).date()
    for reason, share, hours in (("inspection", INSPECTED, 6), ("service", SERVICED, 3)):
        for at in dice.times(site.first_at + DAY, min(site.last_at, told[1]) - DAY, share):
            begin = clock.local_day(clock.wall(at).date(), dice.between(8, 13) * HOUR)
            if clock.wall(begin).weekday() < 5 and begin > site.first_at + DAY:
                site.on_test.append((begin, begin + hours * HOUR, reason))
