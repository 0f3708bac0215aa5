"""Audits a station on which nothing is wrong.

``python -m tests.simulation.healthy_report FOLDER [ACCOUNTS [WEEKS [SEED]]]`` builds the station twice under
FOLDER, with its incidents and without (or takes what lies there), brings both in and audits the weeks by the ordinary
commands, and prints per check what was said of accounts that are all healthy, how
many critical or major findings that makes per 1,000 account-weeks, and which accounts are flagged only with the
incidents: the lives are the same in both, so whatever one audit has beyond the other is the incidents' doing.
"""

from __future__ import annotations

import sys
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sigaudit.settings import load
from sigaudit.store import runs
from sigaudit.store.opening import open_store
from sigaudit.store.runs import Run
from tests.demo_station import called
from tests.simulation import healthy

SEVERITIES = ("critical", "major", "minor", "note")
BLAME = ("critical", "major")
AUDITED_ALONE = (
    "\n[audit]\n# Weeks are compared for their status only, of which nothing is asked here.\ncompare_weeks = 1\n"
)


@dataclass
class Tally:
    """What the audits of one station said: findings of all weeks, and how many account-weeks were judged."""

    findings: list[dict[str, Any]] = field(default_factory=list)
    account_weeks: int = 0
    verdicts: Counter[tuple[str, str]] = field(default_factory=Counter)

    def add(self, run: Run) -> None:
        """One week more."""
        self.findings += run.table("findings").to_pylist()
        self.account_weeks += sum(row["monitored"] for row in run.table("accounts").to_pylist())
        for row in run.table("verdicts").to_pylist():
            self.verdicts[row["check"], row["verdict"]] += row["n"]

    def blamed(self) -> list[dict[str, Any]]:
        """Critical and major findings."""
        return [f for f in self.findings if f["severity"] in BLAME]

    def rate(self) -> float:
        """Critical and major findings per 1,000 account-weeks, over all checks together."""
        return 1000 * len(self.blamed()) / self.account_weeks


def only_because_of_incidents(with_them: Tally, without: Tally) -> list[dict[str, Any]]:
    """Critical and major findings of accounts that the same week without incidents does not flag at all."""
    flagged = {(f["week"], f["account_key"]) for f in without.blamed()}
    return [f for f in with_them.blamed() if (f["week"], f["account_key"]) not in flagged]


def audited(station: Path, weeks: Iterable[str]) -> Tally:
    """The station under ``station`` taken in, if it was not yet, and audited by the commands."""
    folder = station / "workspace"
    if not (folder / "store").exists():
        settings = folder / "sigaudit.toml"
        text = settings.read_text(encoding="utf-8")
        if AUDITED_ALONE not in text:  # it is there where an earlier attempt ended on the way
            settings.write_text(text + AUDITED_ALONE, encoding="utf-8", newline="\n")
        _run("ingest", str(station / "exports"), "-w", str(folder))
        _run("roster", str(folder / "roster"), "-w", str(folder))
    tally = Tally()
    for week in weeks:
        _run("audit", "--week", week, "-w", str(folder))
        run = runs.latest(open_store(load(folder).store_dir), week)
        if run is None:
            raise RuntimeError(f"{week} was audited and not kept")
        tally.add(run)
    return tally


def _run(*words: str) -> None:
    said = called(*words)
    if said.code != 0:
        raise RuntimeError(f"{' '.join(words)}: exit code {said.code}: {said.err}")


def labels(weeks: int) -> list[str]:
    """The ISO weeks to audit."""
    from datetime import timedelta

    begin = healthy.END - timedelta(weeks=weeks)
    days = [begin + timedelta(weeks=n) for n in range(weeks)]
    return [f"{day.isocalendar().year}-W{day.isocalendar().week:02d}" for day in days]


def table(tally: Tally, beyond: list[dict[str, Any]]) -> str:
    """Per check: findings by severity, accounts, rate, and how many only with the incidents."""
    counts: Counter[tuple[str, str]] = Counter((f["check"], f["severity"]) for f in tally.findings)
    accounts: defaultdict[str, set[str]] = defaultdict(set)
    for f in tally.findings:
        accounts[f["check"]].add(f["account_key"])
    incident = Counter(f["check"] for f in beyond)
    checks = sorted({check for check, _ in tally.verdicts})
    lines = [f"{'check':32}{''.join(f'{s:>10}' for s in SEVERITIES)}{'accounts':>10}{'sound':>10}{'per 1000':>10}"
             f"{'incident':>10}"]  # fmt: skip
    for check in checks:
        row = [counts[check, severity] for severity in SEVERITIES]
        rate = 1000 * (row[0] + row[1]) / tally.account_weeks
        parts = [*row, len(accounts[check]), tally.verdicts[check, "sound"]]
        lines.append(f"{check:32}{''.join(f'{n:>10}' for n in parts)}{rate:>10.3f}{incident[check]:>10}")
    lines.append(f"{tally.account_weeks} account-weeks; critical and major per 1,000: {tally.rate():.3f}")
    told = {(f["week"], f["account_key"]) for f in beyond}
    lines.append(f"account-weeks flagged only because of an incident: {len(told)}")
    return "\n".join(lines)


def main() -> None:
    if not 2 <= len(sys.argv) <= 5:
        sys.exit("usage: python -m tests.simulation.healthy_report FOLDER [ACCOUNTS [WEEKS [SEED]]]")
    given = [int(text) for text in sys.argv[2:]]
    accounts, weeks, seed = [*given, *(healthy.ACCOUNTS, healthy.AUDITED, healthy.SEED)[len(given) :]]
    tallies = []
    for name, quiet in (("incidents", False), ("quiet", True)):
        station = Path(sys.argv[1]) / name
        if not station.exists():
            healthy.build(station, accounts, weeks, seed, quiet=quiet)
        tallies.append(audited(station, labels(weeks)))
    beyond = only_because_of_incidents(*tallies)
    print(table(tallies[0], beyond))
    print(f"without incidents: {tallies[1].rate():.3f}")
    for f in beyond:
        print("only with incidents:", f["week"], f["account"], f["check"], f["subject"], f["severity"], f["sentence"])


if __name__ == "__main__":
    main()
