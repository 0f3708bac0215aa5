"""Many exports at once: more than one statement takes, of receivers that export by themselves and overlap in time."""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from pathlib import Path

from sigaudit.reading import writing
from tests.demo_station import DemoStation, called

HEADER = "received_at,receiver,line,account,event,partition,zone\n"
NIGHTS = 20
BEGIN = datetime(2026, 9, 28)
COLUMNS = "received_utc, receiver, line, account, event_raw, zone, time_doubt, edge_doubt"


def nights(folder: Path) -> list[Path]:
    """Sixty exports, a night and receiver each, over the end of a month and the change of clocks."""
    dice = random.Random(5)
    files = []
    for night in range(NIGHTS):
        for receiver in "123":
            start = BEGIN + timedelta(days=2 * night)
            moments = sorted(start + timedelta(seconds=dice.randrange(86400)) for _ in range(40))
            rows = [f"{at:%Y-%m-%dT%H:%M:%S},{receiver},1,{dice.randrange(30):04d},E602,00,000\n" for at in moments]
            rows.insert(20, rows[20])  # one signal twice in a second is two signals
            files.append(folder / f"receiver-{receiver}-{start:%Y-%m-%d}.csv")
            files[-1].write_text(HEADER + "".join(rows), encoding="utf-8", newline="\n")
    return files


def station(folder: Path) -> DemoStation:
    assert called("init", str(folder), "--name", "Many", "--timezone", "America/New_York").code == 0
    return DemoStation(folder, {})


def held(made: DemoStation) -> list[tuple[object, ...]]:
    return sorted(tuple(row.values()) for row in made.sql(f"select {COLUMNS} from signals").to_pylist())


def test_sixty_exports_at_once_are_sixty_one_by_one(tmp_path: Path) -> None:
    files = nights(tmp_path)
    assert len(files) > 3 * writing.MOST_SOURCES
    once, singly = station(tmp_path / "once"), station(tmp_path / "singly")
    assert called("ingest", *(str(file) for file in files), "-w", str(once.folder)).code == 0
    shuffled = random.Random(1).sample(files, len(files))
    for at in range(0, len(shuffled), 7):
        assert called("ingest", *(str(file) for file in shuffled[at : at + 7]), "-w", str(singly.folder)).code == 0
    assert len(held(once)) == 60 * 41
    assert held(once) == held(singly)


def test_a_copy_among_many_adds_nothing_and_a_longer_one_its_own_lines(tmp_path: Path) -> None:
    """Receiver 2's nights come again as one file, with one line more in the middle."""
    files = nights(tmp_path)
    made = station(tmp_path / "station")
    assert called("ingest", *(str(file) for file in files), "-w", str(made.folder)).code == 0
    before = held(made)
    lines = [line for file in files if "receiver-2" in file.name for line in file.read_text("utf-8").splitlines()[1:]]
    extra = f"{BEGIN + timedelta(hours=12):%Y-%m-%dT%H:%M:%S},2,1,7777,E130,01,005"
    joined = tmp_path / "joined.csv"
    joined.write_text(HEADER + "\n".join(sorted([*lines, extra])) + "\n", encoding="utf-8", newline="\n")
    assert called("ingest", str(joined), "-w", str(made.folder)).code == 0
    after = held(made)
    assert len(after) == len(before) + 1
    assert [row for row in after if row[3] == "7777"] and [row for row in after if row[3] != "7777"] == before
