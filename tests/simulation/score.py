"""How well causes are named: ``python -m tests.simulation.score FOLDER [SEEDS [WINDOWS]]`` (1,2 and 4, by default).

For every seed and every window of so many observed weeks a cause station is written under FOLDER, taken in and
audited by the ordinary commands; the last week's causes are compared with its truth, once with the reference
numbers alone and once with those in force. Figures per cause:

- sites: accounts that carry it alone; found: share of them with a finding of their own or on their stray number;
- due: those for which, by the planter's word, enough lies in the log to be seen; found due: the share found of them;
- recall: share for which it is among the causes named (probability at least the floor of the audit);
- precision: share, among the accounts for which it is named, of those that carry it;
- top 1, top 3: share of the found ones for which it is in the likeliest entry, or in the three likeliest.

Causes that the model says a log cannot tell apart are named together where both are probable, as one entry, and such
an entry is right if one of them is so.

Then over all: critical and major findings per 1,000 account-weeks of healthy sites, the Brier score (mean of
(p - y)^2 over accounts and causes, Brier 1950) and how often what was said with probability p was so.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from sigaudit.judging import cause_stage
from sigaudit.judging.audit import read_cards
from sigaudit.judging.cause_model import Model
from sigaudit.judging.causes import posterior, space
from sigaudit.judging.diagnose import FLOOR, grouped
from sigaudit.settings import load
from sigaudit.store import runs
from sigaudit.store.opening import open_store
from sigaudit.store.runs import Run
from tests.demo_station import sheet
from tests.simulation import cause_station, healthy_report
from tests.simulation.cause_ways import WAYS
from tests.simulation.healthy import END

EDGES = (0.0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0001)
BLAME = ("critical", "major")


@dataclass(frozen=True)
class Carrier:
    """What one account carries: causes, its stray numbers, whether that is due to show, planter and strength."""

    causes: set[str]
    strays: set[str]
    due: bool
    way: str
    level: float


@dataclass
class Tally:
    """Of one cause: accounts that carry it alone, and what became of them; accounts for which it was named."""

    sites: int = 0
    found: int = 0
    due: int = 0
    due_found: int = 0
    recalled: int = 0
    first: int = 0
    third: int = 0
    named: int = 0
    rightly: int = 0


@dataclass
class Score:
    """Sums over the stations scored so far. bins: per edge interval, cases, sum of p, and how many were so."""

    causes: defaultdict[str, Tally] = field(default_factory=lambda: defaultdict(Tally))
    squares: float = 0.0
    cases: int = 0
    bins: list[list[float]] = field(default_factory=lambda: [[0, 0.0, 0] for _ in EDGES[1:]])
    healthy_weeks: int = 0
    healthy_flags: int = 0

    def add(self, run: Run, model: Model, truth: Mapping[str, Carrier]) -> None:
        """One audited week."""
        chances = probabilities(run, model)
        flagged: defaultdict[str, set[str]] = defaultdict(set)
        for finding in run.table("findings").to_pylist():
            flagged[finding["account"]].add(finding["severity"])
        for account, carrier in truth.items():
            given = chances.get(account, {})
            self._weigh(given, carrier.causes, [cause.id for cause in model.causes])
            if not carrier.causes:
                self.healthy_weeks += 1
                self.healthy_flags += bool(flagged[account] & set(BLAME))
            seen = bool(flagged[account]) or any(flagged[stray] for stray in carrier.strays)
            self._count(entries(given, model), carrier, seen)

    def _weigh(self, given: Mapping[str, float], causes: set[str], names: list[str]) -> None:
        for name in names:
            p, so = given.get(name, 0.0), name in causes
            self.squares += (p - so) ** 2
            self.cases += 1
            place = int(np.searchsorted(EDGES, p, side="right")) - 1
            self.bins[place][0] += 1
            self.bins[place][1] += p
            self.bins[place][2] += so

    def _count(self, told: list[tuple[float, set[str]]], carrier: Carrier, seen: bool) -> None:
        named = [names for chance, names in told if chance >= FLOOR]
        for names in named:
            for name in names:
                self.causes[name].named += 1
                self.causes[name].rightly += bool(names & carrier.causes)
        if len(carrier.causes) != 1:
            return
        (cause,) = carrier.causes
        tally = self.causes[cause]
        tally.sites += 1
        tally.found += seen
        tally.due += carrier.due
        tally.due_found += carrier.due and seen
        tally.recalled += any(cause in names for names in named)
        if seen:
            tally.first += any(cause in names for _, names in told[:1])
            tally.third += any(cause in names for _, names in told[:3])

    def table(self) -> str:
        """All figures as text."""
        lines = [f"{'cause':28}" + "".join(f"{word:>10}" for word in
                 ("sites", "found", "due", "found due", "recall", "precision", "top 1", "top 3"))]  # fmt: skip
        total = Tally()
        for cause in [name for name in WAYS if name in self.causes]:
            tally = self.causes[cause]
            lines.append(_line(cause, tally))
            for name in vars(total):
                setattr(total, name, getattr(total, name) + getattr(tally, name))
        lines.append(_line("all", total))
        flags = 1000 * self.healthy_flags / max(self.healthy_weeks, 1)
        lines.append(f"healthy accounts critical or major per 1,000 account-weeks: {flags:.2f}")
        lines.append(f"Brier {self.squares / max(self.cases, 1):.5f} over {self.cases} account-causes")
        for low, high, (n, said, so) in zip(EDGES, EDGES[1:], self.bins, strict=False):
            if n:
                told = f"said {low:.2f} to {min(high, 1):.2f}: {n:7.0f} cases, {said / n:.3f} said, {so / n:.3f} so"
                lines.append(f"{told} ({' to '.join(f'{end:.3f}' for end in wilson(so, n))})")
        return "\n".join(lines)


def _line(name: str, t: Tally) -> str:
    parts = [_share(t.found, t.sites), str(t.due), _share(t.due_found, t.due), _share(t.recalled, t.sites),
             _share(t.rightly, t.named), _share(t.first, t.found), _share(t.third, t.found)]  # fmt: skip
    return f"{name:28}{t.sites:>10}" + "".join(f"{part:>10}" for part in parts)


def _share(k: int, n: int) -> str:
    return f"{k / n:.2f}" if n else "-"


def wilson(k: float, n: float) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927, from memory)."""
    z = 1.959964
    mid, half = (k + z * z / 2) / (n + z * z), z / (n + z * z) * (k * (n - k) / n + z * z / 4) ** 0.5
    return mid - half, mid + half


def entries(given: Mapping[str, float], model: Model) -> list[tuple[float, set[str]]]:
    """(probability, causes) of what the audit names together, the likeliest first; P(any) of a pair as their sum."""
    if not given:
        return []
    each = np.array([given[cause.id] for cause in model.causes])
    told = [(min(float(each[group].sum()), 1.0), {model.causes[i].id for i in group})
            for group in grouped(model.causes, each)]  # fmt: skip
    return sorted(told, key=lambda entry: (-entry[0], sorted(entry[1])))


def probabilities(run: Run, model: Model) -> dict[str, dict[str, float]]:
    """account -> cause -> probability, reckoned from a run's evidence with the numbers of ``model``."""
    evidence, found = cause_stage.evidence_of(run), space(model)
    own, joined, link = evidence.states(model.checks)
    barred = [[bool(set(cause.where) & unit.has_not) for cause in model.causes] for unit in evidence.units]
    allowed = ~np.array(barred, dtype=np.bool_).reshape(len(evidence.units), len(model.causes))
    each = posterior(found, own, allowed, joined, link) @ found.members
    return {
        unit.key.partition("/")[2]: dict(zip(found.names, map(float, row), strict=True))
        for unit, row in zip(evidence.units, each, strict=True)
    }


def audited(folder: Path, seed: int, observed: int, **size: int) -> Run:
    """The last week of one cause station, written, taken in and audited unless it was."""
    if not folder.exists():
        cause_station.build(folder, seed, observed, **size)
    (label,) = healthy_report.labels(1)
    healthy_report.audited(folder, [label])
    run = runs.latest(open_store(load(folder / "workspace").store_dir), label)
    if run is None:
        raise RuntimeError(f"{folder}: {label} was audited and not kept")
    return run


def truth_of(folder: Path) -> dict[str, Carrier]:
    """What each account carries; due: enough of it lies in the log by the end of its last week."""
    end = f"{END:%Y-%m-%dT%H:%M}"
    return {
        row["account"]: Carrier(
            {*filter(None, row["causes"].split(";"))}, {*filter(None, row["strays"].split(";"))},
            row["shows"] <= end, row["ways"].split(" ")[0], float(row["level"]),
        )
        for row in sheet(folder / "truth.csv")
    }  # fmt: skip


def main() -> None:
    if not 2 <= len(sys.argv) <= 4:
        sys.exit("usage: python -m tests.simulation.score FOLDER [SEEDS [WINDOWS]]")
    words = [*sys.argv[2:], *("1,2", "4")[len(sys.argv) - 2 :]]
    seeds, windows = ([int(n) for n in word.split(",")] for word in words)
    for observed in windows:
        scores = {"reference numbers": Score(), "numbers in force": Score()}
        for seed in seeds:
            folder = Path(sys.argv[1]) / f"seed-{seed}-weeks-{observed}"
            run = audited(folder, seed, observed)
            reading = cause_stage.read_model(read_cards(load(folder / "workspace")))
            if reading is None:
                sys.exit("there is no cause model")
            truth = truth_of(folder)
            scores["reference numbers"].add(run, reading.reference, truth)
            scores["numbers in force"].add(run, reading.model, truth)
        for name, score in scores.items():
            print(f"\n{observed} weeks observed, seeds {seeds}, {name}\n{score.table()}")


if __name__ == "__main__":
    main()
