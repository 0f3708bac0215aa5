"""How long judging a week takes beside one scan of the same Parquet. Run by hand, recorded in DEVELOPERS.md.

    python -m tests.benchmarks.bench_judging [ACCOUNTS [WEEKS]]

Invented bulk data (tests/simulation/bulk.py). Baseline: one full scan-and-group of the signals by account
and day in the same process. Facts, judging, and pages are told apart; peak memory is that of the process.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from sigaudit import workspace
from sigaudit.judging import audit, windows
from sigaudit.judging.desk import Desk
from sigaudit.judging.judge import judge
from sigaudit.reading import ingest, roster
from sigaudit.reporting import weekly
from sigaudit.settings import load
from sigaudit.store import facts, rosters
from sigaudit.store.engine_duckdb import connect
from sigaudit.store.opening import open_store
from sigaudit.store.relations import signals_relation
from tests.simulation import bulk


def main(accounts: int, weeks: int, folder: Path) -> None:
    log = folder / "bulk.csv"
    lines = bulk.write_log(log, accounts, weeks)
    bulk.write_roster(folder / "roster", accounts)
    workspace.create(folder / "station", "Bulk", "America/New_York", "nfpa72-2019")
    settings = load(folder / "station")
    store = open_store(settings.store_dir, create=True)
    started = time.perf_counter()
    ingest.run(store, settings, [log])
    print(f"{lines:,} lines taken in: {time.perf_counter() - started:.1f} s")
    found = roster.read(folder / "roster", settings)
    rosters.save(store, found, None, audit.last_signal(store).date())

    scan = f"select account_key, cast(received_utc as date), count(*) from ({signals_relation(store)}) group by all"
    times = []
    for _ in range(3):
        with connect(memory_limit=settings.memory_limit) as con:
            started = time.perf_counter()
            con.execute(scan).fetchnumpy()
            times.append(time.perf_counter() - started)
    base = sorted(times)[1]
    print(f"scan and group by account and day (median of 3): {base:.2f} s = 1.0")

    def told(what: str, seconds: float) -> None:
        print(f"{what}: {seconds:.2f} s = {seconds / base:.1f} x; peak {_peak_mib():.0f} MiB")

    started = time.perf_counter()
    facts.build(store, memory_limit=settings.memory_limit)
    built = time.perf_counter() - started
    told("facts built anew", built)

    held = audit.first_signal(store), audit.last_signal(store)
    window = windows.week(windows.last_whole_week(settings.zone, *held), settings.zone, *held)
    cards = audit.read_cards(settings)
    tables, _ = rosters.in_force(store, window.as_of_utc)
    started = time.perf_counter()
    with store.scratch() as temp, connect(memory_limit=settings.memory_limit, temp_dir=temp) as con:
        facts.cut(store, con, window.from_utc, window.as_of_utc, window.from_utc - timedelta(weeks=13))
        judge(Desk(con, window), tables, cards, settings, audit.spans(store))
    judged = time.perf_counter() - started
    told("a week judged, facts current", judged)
    told("a week judged, facts built anew", built + judged)

    started = time.perf_counter()
    run = audit.weekly(store, settings)
    told(f"whole audit with {len(run.meta['previous'])} earlier weeks judged first", time.perf_counter() - started)
    started = time.perf_counter()
    weekly.write(run, folder / "report", station="Bulk")
    told(f"pages and sheets, {len(run.table('findings'))} findings", time.perf_counter() - started)
    index = (folder / "report" / "index.html").stat().st_size
    print(f"index.html {index / 1e6:.2f} MB")


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as home:
        main(*(int(word) for word in (*sys.argv[1:3], *("10000", "13")[len(sys.argv) - 1 :])), Path(home))
