"""The weekly audit as a folder: pages, tables, workbook and the record of the run."""

from __future__ import annotations

import shutil
from pathlib import Path

from sigaudit.reporting import account_page, overview, workbook
from sigaudit.reporting.files import (
    INCIDENT_COLUMNS,
    UNPROTECTED_COLUMNS,
    sweep,
    write_csv,
    write_findings,
    write_run,
    write_text,
)
from sigaudit.reporting.page import TEMPLATES, Clock, Row, RunLike, environment, read_what
from sigaudit.store import shipped

_ASSETS = ("page.css", "figures.js", "table.js")
_LIBRARY = ("plotly-cartesian.min.js", "plotly-cartesian.LICENSE")


def write(run: RunLike, folder: Path, *, station: str) -> list[Path]:
    """Write the whole report of one run into ``folder``; gives every file written.

    The same run gives the same bytes. Account pages of an earlier run of the same folder that this run
    does not have are removed. Raises StoreProblem: the run names an unknown time zone; OSError: the
    folder cannot be written.
    """
    clock = Clock(run.meta["timezone"])
    head = read_what(run, clock)
    findings = overview.findings_in_order(run)
    written = write_assets(folder)
    context = overview.context(run, findings, clock)
    index = environment().get_template("index.html.j2").render(**head, **context, station=station, clock=clock)
    written.append(write_text(folder / "index.html", index))
    pages = list(account_page.write_all(run, folder, findings, {**head, "station": station}, clock))
    sweep(folder / "accounts", pages)
    written += pages
    written += write_findings(run, folder, findings)
    written.append(write_csv(folder / "incidents.csv", INCIDENT_COLUMNS, context["incidents"]))
    marked = [{**row, "reason": _with_mark(row)} for row in context["unprotected"]]
    written.append(write_csv(folder / "unprotected.csv", UNPROTECTED_COLUMNS, marked))
    written.append(
        workbook.write(run, folder / "revisit.xlsx", [row for row in findings if not row.get("quiet")], clock)
    )
    written.append(write_run(run, folder, written))
    return written


def _with_mark(row: Row) -> str:
    """The reason with the mark behind it: the columns of the sheet are fixed."""
    marks = {"8 h": "out over 8 h", "4 h": "out over 4 h in 24 h"}
    return f"{row['reason']}; {marks[row['mark']]}" if row["mark"] in marks else str(row["reason"])


def write_assets(folder: Path) -> list[Path]:
    """Copy style, scripts and the one shared chart library (with its licence) into ``assets/``."""
    assets = folder / "assets"
    assets.mkdir(parents=True, exist_ok=True)
    sources = [TEMPLATES / name for name in _ASSETS]
    sources += [shipped.data() / "charts" / name for name in _LIBRARY]
    return [Path(shutil.copyfile(source, assets / source.name)) for source in sources]
