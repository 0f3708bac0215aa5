"""A big export for benchmarks: ``python -m tests.simulation.bulk FOLDER [ACCOUNTS [WEEKS]]``.

Day by day with numpy and Arrow, so that memory stays flat: about 11 signals per account and day, in
receive order, plain layout, local times without offset. 10,000 accounts and 13 weeks give ten million lines.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray
from pyarrow import csv as arrow_csv

ZONE = ZoneInfo("America/New_York")
LAST_DAY = date(2026, 11, 23)  # Monday: the day after the last one written
DAY, TESTS, CHECK_INS = 86400, 6 * 3600, 3600
KINDS = ("fire", "burglary", "supervised")
KIND_SHARE = (0.35, 0.37, 0.28)
# event code, share of the sporadic signals; every event has its restore
SPORADIC = (("130", 0.35), ("301", 0.25), ("373", 0.15), ("110", 0.1), ("302", 0.05), ("384", 0.1))
SPORADIC_A_DAY = 0.35
EVENTS = ["E602", "LINK", "E401", "R401"] + [q + code for code, _ in SPORADIC for q in "ER"]
COLUMNS = ["received_at", "receiver", "line", "account", "event", "partition", "zone", "format"]
LINES = (("1", "1"), ("1", "2"), ("2", "1"), ("2", "2"), ("3", "1"), ("3", "2"))

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Bulk:
    """The population: one entry per account in each array."""

    numbers: list[str]
    kind: Ints
    line: Ints
    phase: Ints


def population(accounts: int, seed: int = 7) -> Bulk:
    """``accounts`` accounts of six digits, each with its kind, its receiver line and its test phase [s]."""
    rng = np.random.default_rng(seed)
    kind = rng.choice(len(KINDS), size=accounts, p=KIND_SHARE).astype(np.int64)
    line = np.where(kind == 2, rng.integers(2, 4, accounts), rng.choice([0, 1, 4, 5], accounts))
    numbers = [f"{n:06d}" for n in range(1, accounts + 1)]
    return Bulk(numbers, kind, line.astype(np.int64), rng.integers(0, DAY, accounts))


def write_log(path: Path, accounts: int = 10_000, weeks: int = 13, seed: int = 7) -> int:
    """Writes the export and answers how many signals it holds."""
    people = population(accounts, seed)
    begin = _midnight(LAST_DAY - timedelta(days=7 * weeks))
    end = _midnight(LAST_DAY)
    count = 0
    options = arrow_csv.WriteOptions(include_header=False, quoting_style="none")
    with path.open("wb") as out:
        out.write((",".join(COLUMNS) + "\n").encode("ascii"))
        # Steps of 24 real hours: an autumn clock change leaves one hour more at the end, spring one less.
        for step, start in enumerate(range(begin, end, DAY)):
            rng = np.random.default_rng([seed, step])
            table = _one_day(people, start, min(DAY, end - start), rng)
            arrow_csv.write_csv(table, out, options)
            count += table.num_rows
    return count


def write_roster(folder: Path, accounts: int = 10_000, seed: int = 7) -> None:
    """accounts.csv and paths.csv for the same population."""
    people = population(accounts, seed)
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "accounts.csv").open("w", encoding="utf-8", newline="") as out:
        sheet = csv.writer(out, lineterminator="\n")
        sheet.writerow(["account", "site", "dealer", "installer", "system_type", "installed_on"])
        for row, number in enumerate(people.numbers):
            system = "burglary" if people.kind[row] == 1 else "fire"
            who = [f"Dealer {row % 40:02d}", f"Installer {row % 160:03d}"]
            sheet.writerow([number, f"Site {row + 1}", *who, system, "2020-01-15"])
    with (folder / "paths.csv").open("w", encoding="utf-8", newline="") as out:
        sheet = csv.writer(out, lineterminator="\n")
        sheet.writerow(
            [
                "account",
                "path",
                "role",
                "receiver",
                "line",
                "test_interval",
                "supervision_interval",
                "checks_in",
            ]
        )
        for row, number in enumerate(people.numbers):
            # one supervised path alone: 60 minutes by the 2019 edition
            ways = (["phone", "6h", "", ""], ["phone", "24h", "", ""], ["internet", "24h", "60min", "yes"])
            path, *limits = ways[int(people.kind[row])]
            sheet.writerow([number, path, "primary", *LINES[int(people.line[row])], *limits])


def _comb(phase: Ints, who: Ints, period: int, spread: Ints) -> tuple[Ints, Ints]:
    """Seconds of the day and accounts of a timer that fires every ``period`` seconds."""
    steps = np.arange(DAY // period, dtype=np.int64) * period
    seconds = (phase[who, None] % period + steps[None, :]).ravel() + spread
    return seconds, np.repeat(who, len(steps))


def _midnight(day: date) -> int:
    return int(datetime(day.year, day.month, day.day, tzinfo=ZONE).timestamp())


def _one_day(people: Bulk, start: int, length: int, rng: np.random.Generator) -> pa.Table:
    """All signals of ``length`` seconds from the instant ``start``, in receive order."""
    parts: list[tuple[Ints, Ints, Ints, Ints]] = []

    def add(seconds: Ints, who: Ints, event: Ints | int, zone: Ints | int = 0) -> None:
        shape = np.broadcast_to
        parts.append((seconds, who, shape(event, seconds.shape), shape(zone, seconds.shape)))

    for kind, period in ((0, TESTS), (1, DAY), (2, DAY), (2, CHECK_INS)):
        who = np.flatnonzero(people.kind == kind)
        spread = rng.integers(0, 40, len(who) * (DAY // period))
        seconds, who = _comb(people.phase, who, period, spread)
        # a check-in now and then is lost; three of a week's 168 are hardly ever
        kept = rng.random(len(seconds)) > (0.0005 if period == CHECK_INS else 0.005)
        add(seconds[kept], who[kept], int(period == CHECK_INS))
    for opening, (early, late) in ((2, (7 * 3600, 10 * 3600)), (3, (16 * 3600, 20 * 3600))):
        who = np.repeat(np.flatnonzero(people.kind == 1), 2)
        add(rng.integers(early, late, len(who)), who, opening, rng.integers(1, 6, len(who)))
    many = rng.poisson(SPORADIC_A_DAY * len(people.numbers))
    who = rng.integers(0, len(people.numbers), many)
    code = rng.choice(len(SPORADIC), size=many, p=[share for _, share in SPORADIC])
    zone, begun = rng.integers(1, 24, many), rng.integers(0, DAY - 7300, many)
    add(begun, who, 4 + 2 * code, zone)
    add(begun + rng.integers(20, 7200, many), who, 5 + 2 * code, zone)

    seconds, who, event, zone = (np.concatenate(column) for column in zip(*parts, strict=True))
    inside = seconds < length
    seconds, who, event, zone = seconds[inside], who[inside], event[inside], zone[inside]
    order = np.lexsort((zone, event, who, seconds))
    return _table(people, start, seconds[order], who[order], event[order], zone[order])


def _table(people: Bulk, start: int, seconds: Ints, who: Ints, event: Ints, zone: Ints) -> pa.Table:
    """The rows as text; ``seconds`` count real time from ``start``, so that an hour repeats in autumn."""
    elapsed = [datetime.fromtimestamp(start + h * 3600, UTC).astimezone(ZONE) for h in range(24)]
    hours = pa.array([f"{moment:%Y-%m-%dT%H}" for moment in elapsed])
    rest = pa.array([f":{s // 60:02d}:{s % 60:02d}" for s in range(3600)])
    stamp = pc.binary_join_element_wise(hours.take(pa.array(seconds // 3600)), rest.take(pa.array(seconds % 3600)), "")
    line = people.line[who]
    forms = pa.array(["contact_id", "check_in"])
    columns = [
        stamp,
        pa.array([r for r, _ in LINES]).take(pa.array(line)),
        pa.array([n for _, n in LINES]).take(pa.array(line)),
        pa.array(people.numbers).take(pa.array(who)),
        pa.array(EVENTS).take(pa.array(event)),
        pa.array(["00", "01"]).take(pa.array((zone > 0).astype(np.int64))),
        pa.array([f"{n:03d}" for n in range(24)]).take(pa.array(zone)),
        forms.take(pa.array((event == 1).astype(np.int64))),
    ]
    return pa.table(columns, names=COLUMNS)


def main() -> None:
    if not 2 <= len(sys.argv) <= 4:
        sys.exit("usage: python -m tests.simulation.bulk FOLDER [ACCOUNTS [WEEKS]]")
    folder = Path(sys.argv[1])
    accounts, weeks = (int(text) for text in (sys.argv[2:] + ["10000", "13"][len(sys.argv) - 2 :]))
    folder.mkdir(parents=True, exist_ok=True)
    print(f"{write_log(folder / 'bulk.csv', accounts, weeks)} signals")
    write_roster(folder / "roster", accounts)


if __name__ == "__main__":
    main()
