"""Counts how often checks fire under each cause: ``python -m tests.simulation.fit_causes FOLDER SEEDS [WINDOW]``.

The cause stations of the scorer are built, audited and counted: of the sites that carry a cause alone, how many have
each check fire; of the healthy ones, how many have it for no cause at all. In a group of checks that tell one fact a
check is counted among the sites at which those before it are silent, as the reckoning weighs it. Where a check was
not judged the site does not count; a site with no finding at all counts as silent.

A count k of n becomes (k + w p) / (n + w): the mean of a Beta distribution whose prior is the reference number p with
the weight of w sites (Gelman et al., Bayesian Data Analysis, 2.4; from memory). Written: ``causes_measured.toml``.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sigaudit.judging import cause_stage
from sigaudit.judging.audit import read_cards
from sigaudit.judging.cause_model import LEAST, LEAST_LEAK, MOST, Model
from sigaudit.judging.causes import FIRES, LEFT_OUT
from sigaudit.settings import load
from tests.simulation.score import audited, truth_of

WEIGHT, LEAK_WEIGHT = 12.0, 2000.0  # sites
# A check that the reference does not name under a cause must have fired at so many sites, and at such a share.
NEW, NEW_SHARE = 3, 0.05
MOST_LEAK = 0.5
NAME = "causes_measured.toml"


class Counts:
    """Per cause ('' for healthy sites): sites at which each check was judged (n) and fired (k), K checks."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.n: defaultdict[str, NDArray[np.float64]] = defaultdict(lambda: np.zeros(len(model.checks)))
        self.k: defaultdict[str, NDArray[np.float64]] = defaultdict(lambda: np.zeros(len(model.checks)))

    def add(self, folder: Path, seed: int, observed: int) -> None:
        """One station."""
        evidence = cause_stage.evidence_of(audited(folder, seed, observed))
        own, joined, link = evidence.states(self.model.checks)
        states = np.where(link[:, None] >= 0.5, joined, own)
        held = {unit.key.partition("/")[2]: place for place, unit in enumerate(evidence.units)}
        silent = np.zeros(len(self.model.checks), dtype=np.int8)
        for account, carrier in truth_of(folder).items():
            if len(carrier.causes) > 1:
                continue
            place = held.get(account)
            unit = evidence.units[place] if place is not None else None
            cause = next(iter(carrier.causes), "")
            if cause and unit is not None and set(self.model.cause(cause).where) & unit.has_not:
                continue  # where the reckoning rules it out there is nothing to learn for it
            self.count(cause, silent if place is None else states[place])

    def count(self, cause: str, states: NDArray[np.int8]) -> None:
        """One site: states (K,), each fires, silent or left out."""
        at = 0
        for _, chain in self.model.observations:
            for column in range(at, at + len(chain)):
                if states[column] == LEFT_OUT:
                    continue
                self.n[cause][column] += 1
                if states[column] == FIRES:
                    self.k[cause][column] += 1
                    if cause:
                        break  # what follows in the chain is beside the first
            at += len(chain)

    def leak(self) -> dict[str, float]:
        """Check -> P(fires | no cause)."""
        return {
            check: _mean(self.k[""][i], self.n[""][i], self.model.leak[check].value, LEAK_WEIGHT, LEAST_LEAK, MOST_LEAK)
            for i, check in enumerate(self.model.checks)
        }

    def fires(self) -> dict[str, dict[str, float]]:
        """Cause -> check -> P(fires | cause), of checks the reference names and of those that fired often enough."""
        found: dict[str, dict[str, float]] = {}
        for cause in self.model.causes:
            n, k = self.n[cause.id], self.k[cause.id]
            for i, check in enumerate(self.model.checks):
                named = check in cause.fires
                if named or (k[i] >= NEW and k[i] >= NEW_SHARE * n[i]):
                    prior = cause.fires[check].value if named else LEAST
                    found.setdefault(cause.id, {})[check] = _mean(k[i], n[i], prior, WEIGHT, LEAST, MOST)
        return found


def _mean(k: float, n: float, prior: float, weight: float, least: float, most: float) -> float:
    return min(max((k + weight * prior) / (n + weight), least), most)


def text(counts: Counts, seeds: list[int], observed: int) -> str:
    """The file."""
    sites = sum(int(n.max()) for cause, n in counts.n.items() if cause)
    lines = [
        "# Numbers of causes.toml as measured on the simulator, an invented station: not field data. They win over",
        "# causes.toml; `sigaudit causes --reference` leaves them out. Written by tests/simulation/fit_causes.py from",
        f"# stations of seeds {', '.join(map(str, seeds))}, {observed} weeks observed, {sites} sites with one cause;"
        " the reference counts",
        f"# as much as {WEIGHT:.0f} sites, for leaks as {LEAK_WEIGHT:.0f}. Do not mend by hand.",
        "", "[standings]", 'simulator = "measured on the simulator"', "", "[leak]",
    ]  # fmt: skip
    lines += [f"{check} = {value:.6f}" for check, value in counts.leak().items()]
    for cause, fires in counts.fires().items():
        lines += ["", f"[fires.{cause}]", *(f"{check} = {value:.4f}" for check, value in fires.items())]
    return "\n".join(lines) + "\n"


def main() -> None:
    if not 3 <= len(sys.argv) <= 4:
        sys.exit("usage: python -m tests.simulation.fit_causes FOLDER SEEDS [WINDOW]")
    base, seeds = Path(sys.argv[1]), [int(word) for word in sys.argv[2].split(",")]
    observed = int(sys.argv[3]) if len(sys.argv) > 3 else 4
    counts = None
    for seed in seeds:
        folder = base / f"seed-{seed}-weeks-{observed}"
        audited(folder, seed, observed)
        reading = cause_stage.read_model(read_cards(load(folder / "workspace")))
        if reading is None:
            sys.exit("there is no cause model")
        counts = counts or Counts(reading.reference)
        counts.add(folder, seed, observed)
    if counts is not None:
        with (base / NAME).open("w", encoding="utf-8", newline="\n") as file:
            file.write(text(counts, seeds, observed))
        print(base / NAME)


if __name__ == "__main__":
    main()
