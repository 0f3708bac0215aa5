"""A station on which nothing is wrong: ``python -m tests.simulation.healthy FOLDER [ACCOUNTS [WEEKS [SEED]]]``.

20,000 accounts, four weeks to audit and four before them: a test every seven days needs four of its own before it has
a rhythm, and tests are counted over four weeks. No fault is planted, but incidents are, in all those weeks; with
``quiet=True`` the same lives without any of them, to compare. Written: ``exports/``, ``workspace/`` (settings, layout,
roster with what was on test) and ``incidents_truth.csv``. The same seed gives the same bytes. One site after the
other, so that memory holds one life and, when files are put in order, one receiver's day.
"""

from __future__ import annotations

import sys
from datetime import date, timedelta
from pathlib import Path

from tests.simulation import clock
from tests.simulation.dice import Dice, seeded
from tests.simulation.exports import with_resends
from tests.simulation.healthy_exports import Exports, Roster
from tests.simulation.healthy_noise import noise
from tests.simulation.healthy_population import population
from tests.simulation.incidents import own_signals
from tests.simulation.life import live, stamped
from tests.simulation.roster import write_csv
from tests.simulation.site import Signal, Site
from tests.simulation.upheavals import Upheaval, plan, strike

ACCOUNTS, AUDITED, HISTORY, SEED = 20_000, 4, 4, 1
END = date(2026, 11, 23)  # Monday: the day after the last one written; the clock change lies in the audited weeks
AFTER = 2  # weeks that are lived and not written, so that nothing is tidied up for the end of the log


def whole_life(site: Site) -> list[Signal]:
    """All that the site sends in the scenario's weeks, resends among it."""
    return with_resends(stamped(site, live(site) + noise(site, Dice(13, site.index))), site.index)


def build(
    folder: Path, accounts: int = ACCOUNTS, weeks: int = AUDITED, seed: int = SEED, *, quiet: bool = False
) -> int:  # fmt: skip
    """Writes the station and answers how many lines its exports hold."""
    with seeded(seed, 20261123), clock.calendar(END - timedelta(weeks=weeks + HISTORY), weeks + HISTORY + AFTER):
        first_audited, last = clock.monday(HISTORY), clock.monday(HISTORY + weeks)
        told = first_audited, last
        upheavals = [] if quiet else plan(population(accounts, told), clock.monday(1), last)
        exports, sheets = Exports(folder / "exports", clock.START, last), Roster(folder / "workspace")
        for site in population(accounts, told):
            sheets.write(site)
            exports.write(strike(site, whole_life(site), upheavals))
        own = own_signals([u.outage() for u in upheavals])
        exports.write(s for s in own if not any(u.outage().holds(s) for u in upheavals if u.kind == "export_gap"))
        sheets.close()
        exports.close()
        write_truth(folder / "incidents_truth.csv", upheavals)
    return exports.lines


def write_truth(path: Path, upheavals: list[Upheaval]) -> None:
    """One row per incident, times on the station's wall."""
    rows = [
        [u.kind, u.receiver, u.line, u.where, f"{clock.wall(u.begin):%Y-%m-%dT%H:%M}",
         f"{clock.wall(u.end):%Y-%m-%dT%H:%M}"]
        for u in upheavals
    ]  # fmt: skip
    write_csv(path, ["kind", "receiver", "line", "where", "from", "until"], rows)


def main() -> None:
    if not 2 <= len(sys.argv) <= 5:
        sys.exit("usage: python -m tests.simulation.healthy FOLDER [ACCOUNTS [WEEKS [SEED]]]")
    given = [int(text) for text in sys.argv[2:]]
    accounts, weeks, seed = [*given, *(ACCOUNTS, AUDITED, SEED)[len(given) :]]
    print(f"{build(Path(sys.argv[1]), accounts, weeks, seed):,} lines")


if __name__ == "__main__":
    main()
