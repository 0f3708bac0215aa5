"""Nightly export files and roster sheets of a big station, written site by site with bounded memory.

Lines go into one file per receiver and local day as they come, each behind its instant; at the end one file after
the other is put into receive order. What a file never handed over held is simply not written (an ``export_gap``).
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterable
from datetime import timedelta
from io import TextIOWrapper
from pathlib import Path as FilePath

from tests.simulation import clock, roster
from tests.simulation.exports import WRITERS
from tests.simulation.site import Signal, Site


class Exports:
    """Lines in, files out: ``receiver-1-2026-10-05.csv`` and so on."""

    def __init__(self, folder: FilePath, first: int, last: int) -> None:
        self.folder, self.first, self.last = folder, first, last
        self.lines = 0
        self._parts = folder / "parts"
        self._parts.mkdir(parents=True, exist_ok=True)
        self._open: dict[tuple[str, int], TextIOWrapper] = {}
        self._midnights = [clock.local_day(clock.wall(first).date() + timedelta(days=n), 0) for n in range(800)]

    def write(self, signals: Iterable[Signal]) -> None:
        """Signals in any order; what lies outside the exported span is left out."""
        for s in signals:
            if not self.first <= s.at < self.last:
                continue
            # no day is longer than 25 or shorter than 23 hours
            day = (s.at - self.first + 7200) // clock.DAY
            while self._midnights[day] > s.at:
                day -= 1
            while self._midnights[day + 1] <= s.at:
                day += 1
            out = self._open.get((s.receiver, day))
            if out is None:
                name = self._parts / f"{s.receiver}-{day:04d}"
                out = self._open[s.receiver, day] = name.open("w", encoding="ascii", newline="")
            out.write(f"{s.at}\t{WRITERS[s.receiver][1](s)}\n")
            self.lines += 1

    def close(self) -> None:
        """The files, each in receive order."""
        for out in self._open.values():
            out.close()
        for receiver, day in sorted(self._open):
            rows = (self._parts / f"{receiver}-{day:04d}").read_text(encoding="ascii").splitlines()
            rows.sort()  # instants have ten digits, so text order is their order
            date = clock.wall(self._midnights[day]).date()
            ending = "txt" if receiver == "3" else "csv"
            with (self.folder / f"receiver-{receiver}-{date}.{ending}").open("w", encoding="ascii", newline="") as out:
                out.write(WRITERS[receiver][0] + "\n")
                out.writelines(row.partition("\t")[2] + "\n" for row in rows)
        shutil.rmtree(self._parts)


class Roster:
    """The sheets, a site at a time."""

    def __init__(self, folder: FilePath) -> None:
        roster.write_workspace(folder, [])  # settings, layout and the heads of all sheets
        names = ("accounts", "paths", "zones", "on_test")
        self._files = {
            name: (folder / "roster" / f"{name}.csv").open("a", encoding="utf-8", newline="") for name in names
        }
        self._sheets = {name: csv.writer(out, lineterminator="\n") for name, out in self._files.items()}

    def write(self, site: Site) -> None:
        self._sheets["accounts"].writerow(roster.account_row(site))
        self._sheets["paths"].writerows(roster.path_rows(site))
        self._sheets["zones"].writerows([site.account, z.partition, z.zone, z.kind, z.label] for z in site.zones)
        self._sheets["on_test"].writerows(
            [site.account, roster.stamp(a), roster.stamp(b), reason] for a, b, reason in sorted(site.on_test)
        )

    def close(self) -> None:
        for out in self._files.values():
            out.close()
