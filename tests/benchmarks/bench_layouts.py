"""Ingest by kind of layout against the engine alone: ``python -m tests.benchmarks.bench_layouts [FOLDER [WEEKS]]``.

Run by hand. The same invented signals are written as a delimited export, as a printer's log and as a log of DC-09
frames; the baseline is the engine's own copy of the delimited one, sorted by account and time, as in
``bench_ingest``. Each side in its own process with the same memory limit. Budgets: delimited 3 times the baseline,
pattern 3.5 times, frames 8 times; peak memory under 2 GiB.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as arrow_csv

from tests.benchmarks.bench_ingest import baseline, one_side
from tests.reading.dc09_frames import crc_bit_by_bit
from tests.simulation.bulk import COLUMNS, write_log

ACCOUNTS, WEEKS = 10_000, 7
PATTERN = r"""
id = "printed"
kind = "pattern"
[pattern]
line = '(?P<received_at>\S+) R(?P<receiver>\d)/L(?P<line>\d) +ACCT (?P<account>\w+) (?P<event>\w*) P(?P<partition>\w*) Z(?P<zone>\w*) (?P<format>\w*)'
[time]
timezone = "station"
"""  # noqa: E501
FRAMES = r"""
id = "frames"
kind = "dc09"
[pattern]
line = '(?P<received_at>\S+) R(?P<receiver>\d)/L(?P<line>\d) (?P<frame>.+)'
[time]
timezone = "station"
"""


def printed(table: pa.Table) -> list[str]:
    parts = [table[name] for name in COLUMNS]
    at, receiver, line, account, event, partition, zone, form = parts
    joined = pc.binary_join_element_wise(
        at, pc.binary_join_element_wise("R", receiver, "/L", line, "  ACCT ", account, ""), event,
        pc.binary_join_element_wise("P", partition, ""), pc.binary_join_element_wise("Z", zone, ""), form, " ",
    )  # fmt: skip
    return joined.to_pylist()


_TABLE: list[int] = [crc_bit_by_bit(bytes([value])) for value in range(256)]


def crc(data: bytes) -> int:
    """CRC-16/ARC byte by byte, from a table made bit by bit."""
    found = 0
    for byte in data:
        found = found >> 8 ^ _TABLE[(found ^ byte) & 255]
    return found


def framed(table: pa.Table) -> list[str]:
    """Three in four events as Contact ID, one in four as a block of one event; check-ins as NULL."""
    lines = []
    for number, row in enumerate(table.to_pylist()):
        day, clock = row["received_at"].split("T")
        stamp = f"_{clock},{day[5:7]}-{day[8:10]}-{day[:4]}"
        if row["format"] == "check_in":
            region = f'"NULL"0000L0#{row["account"]}[]{stamp}'
        elif number % 4:
            event = {"E": "1", "R": "3", "P": "6"}[row["event"][0]] + row["event"][1:]
            data = f"#{row['account']}|{event} {(row['partition'] or '0').zfill(2)} {(row['zone'] or '0').zfill(3)}"
            region = f'"ADM-CID"{number % 9999 + 1:04d}L0#{row["account"]}[{data}]{stamp}'
        else:
            code = {"E": "BA", "R": "BR"}.get(row["event"][0], "RP")
            data = f"#{row['account']}|Nri{row['partition'] or '0'}/{code}{row['zone'] or '0'}"
            region = f'"SIA-DCS"{number % 9999 + 1:04d}L0#{row["account"]}[{data}]{stamp}'
        inside = region.encode()
        prefix = f"{row['received_at']} R{row['receiver']}/L{row['line']} "
        lines.append(f"{prefix}{crc(inside):04X}0{len(inside):03X}{region}")
    return lines


def write_others(log: Path, folder: Path) -> None:
    """The same signals in the other two shapes."""
    types = {name: pa.string() for name in COLUMNS}
    reader = arrow_csv.open_csv(log, convert_options=arrow_csv.ConvertOptions(column_types=types))
    with (folder / "printed.log").open("w", newline="") as a, (folder / "frames.log").open("w", newline="") as b:
        for batch in reader:
            table = pa.Table.from_batches([batch])
            a.write("\n".join(printed(table)) + "\n")
            b.write("\n".join(framed(table)) + "\n")


def ingested(log: Path, work: Path) -> int:
    from sigaudit.reading import ingest
    from sigaudit.store.opening import open_store
    from tests.reading.small_station import Receivers

    (work / "layouts").mkdir(parents=True)
    (work / "layouts" / "printed.toml").write_text(PATTERN, encoding="utf-8")
    (work / "layouts" / "frames.toml").write_text(FRAMES, encoding="utf-8")
    result = ingest.run(open_store(work / "store", create=True), Receivers(work / "layouts"), [log])
    assert result.sum.lines - result.sum.skipped == result.sum.signals, result
    return result.sum.signals


SIDES = {"baseline": baseline, "ingest": ingested}


def measured(side: str, log: Path, work: Path) -> dict[str, float]:
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    command = [sys.executable, "-m", "tests.benchmarks.bench_layouts", "--side", side, str(log), str(work)]
    found: dict[str, float] = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return found


def main() -> None:
    if sys.argv[1:2] == ["--side"]:
        one_side(sys.argv[2], Path(sys.argv[3]), Path(sys.argv[4]), SIDES)
        return
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(tempfile.mkdtemp())
    weeks = int(sys.argv[2]) if len(sys.argv) > 2 else WEEKS
    folder.mkdir(parents=True, exist_ok=True)
    log = folder / "bulk.csv"
    if not (folder / "frames.log").exists():
        write_log(log, ACCOUNTS, weeks)
        write_others(log, folder)
    base = measured("baseline", log, folder / "work")
    for name in ("bulk.csv", "printed.log", "frames.log"):
        found = measured("ingest", folder / name, folder / "work")
        times, cpu = found["seconds"] / base["seconds"], found["cpu"] / base["cpu"]
        print(
            f"{name:12} {found['rows']:>9} rows {found['seconds']:6.1f} s = {times:4.2f} x baseline; "
            f"processor {found['cpu']:6.1f} s = {cpu:4.2f} x; peak {found['peak_mib']:5.0f} MiB"
        )


if __name__ == "__main__":
    main()
