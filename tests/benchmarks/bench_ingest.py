"""Ingest of a big plain export against the engine alone: ``python -m tests.benchmarks.bench_ingest [FOLDER]``.

Run by hand. The baseline copies the same CSV, all columns and the line itself, to one Parquet file sorted by
account and time. Each side runs in its own process with the same memory limit; medians of three. Budget:
at most 3 times the baseline, peak memory under 2 GiB. On a machine that does other work too, look at the
processor seconds: they are steadier than the time on the wall.
"""

from __future__ import annotations

import json
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from tests.simulation.bulk import COLUMNS, write_log

ACCOUNTS, WEEKS, RUNS = 10_000, 7, 3  # 5.35 million lines


def baseline(log: Path, work: Path) -> int:
    from sigaudit.store import engine_duckdb as engine

    con = engine.connect(temp_dir=work / "spill")
    types = ", ".join(f"'{name}': '{'TIMESTAMP' if name == 'received_at' else 'VARCHAR'}'" for name in COLUMNS)
    columns = ", ".join(COLUMNS)
    engine.copy_to_parquet(
        con,
        f"select *, concat_ws(',', {columns}) as raw from read_csv({engine.literal(log.as_posix())}, "
        f"header = true, columns = {{{types}}}) order by account, received_at",
        work / "baseline.parquet",
    )
    return int(engine.rows(con, f"select count(*) from {engine.read_parquet([work / 'baseline.parquet'])}")[0][0])


def ingested(log: Path, work: Path) -> int:
    from sigaudit.reading import ingest
    from sigaudit.store.opening import open_store
    from tests.reading.small_station import Receivers

    store = open_store(work / "store", create=True)
    return ingest.run(store, Receivers(work / "layouts"), [log]).sum.signals


def again(log: Path, work: Path) -> int:
    """The same days exported once more with other line ends: nothing new, every line looked up."""
    from sigaudit.reading import ingest
    from sigaudit.store.opening import open_store
    from tests.reading.small_station import Receivers

    store = open_store(work / "store")
    return ingest.run(store, Receivers(work / "layouts"), [log]).sum.repeats


SIDES = {"baseline": baseline, "ingest": ingested, "again": again}


def measured(side: str, log: Path, work: Path) -> tuple[float, float, float, int]:
    """(seconds, processor seconds, peak MiB, rows) of one side in its own process."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_ingest", "--side", side, str(log), str(work)]
    found = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return found["seconds"], found["cpu"], found["peak_mib"], found["rows"]


def one_side(side: str, log: Path, work: Path, sides: Mapping[str, Callable[[Path, Path], int]] = SIDES) -> None:
    started = time.perf_counter()
    rows = sides[side](log, work)
    seconds = time.perf_counter() - started
    used = resource.getrusage(resource.RUSAGE_SELF)
    cpu = used.ru_utime + used.ru_stime
    print(json.dumps({"seconds": seconds, "cpu": cpu, "peak_mib": used.ru_maxrss / 1024, "rows": rows}))


def main() -> None:
    if sys.argv[1:2] == ["--side"]:
        one_side(sys.argv[2], Path(sys.argv[3]), Path(sys.argv[4]))
        return
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    log, other = folder / "bulk.csv", folder / "bulk-crlf.csv"
    if not log.exists():
        write_log(log, ACCOUNTS, WEEKS)
    other.write_bytes(log.read_bytes().replace(b"\n", b"\r\n"))
    results: dict[str, list[tuple[float, float, float, int]]] = {side: [] for side in SIDES}
    for _ in range(RUNS):
        work = folder / "work"
        shutil.rmtree(work, ignore_errors=True)
        work.mkdir()
        results["baseline"].append(measured("baseline", log, work))
        results["ingest"].append(measured("ingest", log, work))
        results["again"].append(measured("again", other, work))
    base, base_cpu = (statistics.median(row[i] for row in results["baseline"]) for i in (0, 1))
    for side, rows in results.items():
        seconds, cpu = (statistics.median(row[i] for row in rows) for i in (0, 1))
        print(
            f"{side:9} {rows[0][3]:>9} rows {seconds:6.1f} s = {seconds / base:4.2f} x baseline; "
            f"processor {cpu:6.1f} s = {cpu / base_cpu:4.2f} x; peak {max(row[2] for row in rows):5.0f} MiB"
        )


if __name__ == "__main__":
    main()
