"""Writes the demo: ``python -m tests.simulation.build data/demo`` (its README.md is written by hand)."""

from __future__ import annotations

import sys
from dataclasses import astuple
from pathlib import Path

from tests.simulation import clock
from tests.simulation.archetypes import population
from tests.simulation.exports import Exporter, in_order, with_resends
from tests.simulation.incidents import OUTAGES, SHARED, own_signals, strike
from tests.simulation.plan import TruthRow, play
from tests.simulation.roster import write_csv, write_workspace
from tests.simulation.strangers import strangers


def build(folder: Path) -> list[TruthRow]:
    """Everything under ``folder`` but its README; answers the truth rows."""
    sites = population()
    signals, truth = play(sites)
    unknown, unknown_truth = strangers(sites)
    signals = strike(signals + unknown, sites) + own_signals()
    signals = [s for s in in_order(with_resends(signals)) if clock.START <= s.at < clock.END]
    truth = sorted(truth + unknown_truth, key=lambda row: (row.account, row.fault))

    exporter = Exporter(folder / "exports")
    witness = next(s.account for s in sites if s.archetype == "burglary_dialer" and not s.role)
    for number in ("1", "2", "3"):
        exporter.receiver(number, [s for s in signals if s.receiver == number], witness)

    write_workspace(folder / "workspace", sites)
    columns = ["account", "fault", "week", "also", "note", "cause"]
    write_csv(folder / "truth.csv", columns, [astuple(row) for row in truth])
    incidents = [
        [o.kind, o.receiver, o.line, *(f"{clock.wall(t):%Y-%m-%dT%H:%M}" for t in (o.begin, o.end)), *o.group]
        for o in [*OUTAGES, *SHARED]
    ]
    columns = ["kind", "receiver", "line", "from", "until", "group_kind", "group_value"]
    write_csv(folder / "incidents_truth.csv", columns, incidents)
    counts = [astuple(c) for c in exporter.counts]
    columns = ["file", "lines", "signals", "repeats", "rejects", "skipped"]
    write_csv(folder / "lines_truth.csv", columns, counts)
    return truth


def main() -> None:
    if len(sys.argv) != 2:
        sys.exit("usage: python -m tests.simulation.build FOLDER")
    truth = build(Path(sys.argv[1]))
    planted = sum(row.fault != "healthy" for row in truth)
    print(f"{len(truth)} accounts, {planted} with a planted fault")


if __name__ == "__main__":
    main()
