"""The main job on an invented station, from shipped exports to reports."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from sigaudit import explain
from sigaudit.errors import StoreProblem, UsageProblem
from sigaudit.judging import audit, monthly
from sigaudit.reading import ingest
from sigaudit.reading import roster as roster_reading
from sigaudit.reporting import health, identity, revisit, weekly
from sigaudit.settings import load
from sigaudit.store import rosters, set_asides, shipped
from sigaudit.store.opening import open_store

_OURS = "sigaudit.toml"


def run(folder: Path, progress: Any, say: Callable[[str], None]) -> dict[str, Path]:
    """Makes the demo workspace in ``folder`` and runs ingest, roster, audit, revisit and health on it.

    Gives the reports by name. Running it again in the same folder goes on from what is there. Raises
    UsageProblem when the folder holds something else.
    """
    source = shipped.demo()
    if not (source / "workspace" / _OURS).is_file():
        raise StoreProblem(f"{source}: the demo data is not there", next_step="reinstall sigaudit")
    if folder.exists() and any(folder.iterdir()) and not (folder / _OURS).is_file():
        raise UsageProblem(f"{folder}: holds other files", next_step="name a new folder: sigaudit demo FOLDER")
    shutil.copytree(source / "workspace", folder, dirs_exist_ok=True)
    shutil.copytree(source / "exports", folder / "exports", dirs_exist_ok=True)
    settings = load(folder)
    store = open_store(settings.store_dir, create=True)
    say("The scenario is invented: station, sites, people and numbers do not exist.")
    taken = ingest.run(store, settings, [folder / "exports"], progress=progress)
    for line in explain.ingest_lines(taken):
        say(line)
    found = roster_reading.read(settings.roster_dir, settings)
    rosters.save(store, found, None, date(2026, 11, 23))
    judged = set_asides.decided(store, audit.weekly(store, settings, progress=progress))
    label = judged.meta["label"]
    reports = settings.reports_dir
    weekly.write(judged, reports / f"audit-{label}", station=settings.report_name or settings.station)
    made = {"weekly audit": reports / f"audit-{label}" / "index.html"}
    made["revisit list"] = revisit.write(judged, reports / f"revisit-{label}")[0]
    months = monthly.monthly(store, settings, progress=progress)
    folder = reports / f"health-{months.run.meta['label']}"
    # Pages alone: `sigaudit health` writes the PDFs beside them.
    health.write(months.run, folder, identity.of(settings), asked=health.Asked(with_pdf=False), progress=progress)
    made["health report"] = folder / "index.html"
    return made
