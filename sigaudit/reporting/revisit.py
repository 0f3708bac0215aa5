"""The revisit list as one plain page: sites in order of need, desk steps first. No script."""

from __future__ import annotations

from pathlib import Path

from sigaudit.reporting import overview
from sigaudit.reporting.files import write_text
from sigaudit.reporting.page import Clock, RunLike, cautions, environment, read_what
from sigaudit.reporting.sites import sites

_CAUTIONS = ("C01", "C03", "C04", "C05", "C06", "C08", "C09", "C10", "C18", "C19", "C20", "C24", "C25", "C26")


def write(run: RunLike, folder: Path) -> list[Path]:
    """Write ``revisit.html`` into ``folder``; gives its path. The same run gives the same bytes.

    Order of sites: without a proven path, life at stake, severity, age. Findings that are notes alone do
    not make a site worth a trip: such sites are counted, not listed.
    """
    clock = Clock(run.meta["timezone"])
    findings = overview.findings_in_order(run)
    found = sites(run, [row for row in findings if not row.get("quiet")])
    listed = [site for site in found if site.unprotected or site.severity != "note"]
    text = (
        environment()
        .get_template("revisit.html.j2")
        .render(
            **read_what(run, clock),
            station=run.meta["station"],
            clock=clock,
            sites=listed,
            set_aside=sum(1 for row in findings if row.get("quiet")),
            only_notes=len(found) - len(listed),
            desk_only=sum(1 for site in listed if site.needs in ("desk", "none")),
            remote=sum(1 for site in listed if site.needs == "remote"),
            visits=sum(1 for site in listed if site.needs == "visit"),
            cautions=cautions(*_CAUTIONS),
        )
    )
    return [write_text(folder / "revisit.html", text)]
