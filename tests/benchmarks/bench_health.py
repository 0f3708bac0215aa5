"""How long a customer's health report takes, page and PDF. Run by hand, recorded in DEVELOPERS.md.

    python -m tests.benchmarks.bench_health STATION [CUSTOMERS]

STATION is a workspace that `sigaudit demo` made: its sites of October, again and again under other names, stand for as
many customers. Told: seconds a customer for the page, for the PDF and for both with their files, on one core.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from dataclasses import replace
from itertools import cycle, islice
from pathlib import Path
from typing import Any

from sigaudit.judging import monthly
from sigaudit.reporting import health, health_facts, identity
from sigaudit.reporting.health_model import Site
from sigaudit.settings import load
from sigaudit.store.opening import open_store


def main(station: Path, customers: int) -> None:
    settings = load(station)
    store = open_store(settings.store_dir)
    started = time.perf_counter()
    run = monthly.monthly(store, settings, "2026-10").run
    print(f"the month's run: {time.perf_counter() - started:.1f} s")
    sites = health_facts.read(run)
    many = [_renamed(site, n) for n, site in enumerate(islice(cycle(sites), customers))]
    for with_pdf in (False, True):
        seconds, size, files = _write(run, many, settings, with_pdf=with_pdf)
        what = "page and PDF" if with_pdf else "page alone"
        print(f"{customers:,} customers, {what}: {seconds / customers:.3f} s each; {files} files, {size / 1e6:.1f} MB")
    print(f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


def _renamed(site: Site, n: int) -> Site:
    row = {**site.row, "customer": f"Customer {n:05d}", "customer_email": f"c{n}@example.invalid"}
    return replace(site, row=row)


def _write(run: Any, sites: list[Site], settings: Any, *, with_pdf: bool) -> tuple[float, int, int]:
    """Processor seconds of one process over all reports, bytes and files written."""
    read, health_facts.read = health_facts.read, lambda _: sites
    try:
        with tempfile.TemporaryDirectory() as folder:
            started = time.process_time()
            written = health.write(run, Path(folder), identity.of(settings), asked=health.Asked(with_pdf=with_pdf))
            return time.process_time() - started, sum(path.stat().st_size for path in written), len(written)
    finally:
        health_facts.read = read


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1000)
