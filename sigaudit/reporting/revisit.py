"""The revisit list: sites in order of need as a page, visit sheets, workbook, CSV and calendar file. No script."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

from sigaudit.reporting import calendar_file, overview, visit_sheet, workbook
from sigaudit.reporting.files import write_csv, write_text
from sigaudit.reporting.page import Clock, Row, RunLike, cautions, environment, instant, read_what, rows
from sigaudit.reporting.sites import Site, sites

__all__ = ["GROUPS", "write"]

GROUPS = ("area", "dealer")
_CAUTIONS = ("C01", "C03", "C04", "C05", "C06", "C08", "C09", "C10", "C18", "C19", "C20", "C24", "C25", "C26")
_COLUMNS = (
    "order", "site", "accounts", "system_type", "severity", "unprotected", "since", "needs", "causes", "first_steps",
    "bring", "customer", "dealer", "installer", "area", "address", "planned_on", "sheet",
)  # fmt: skip
VISITS = ("account", "visited_on", "technician", "found", "fixed", "note")


def write(
    run: RunLike,
    folder: Path,
    *,
    dealer: str = "",
    group: str = "area",
    first_day: date | None = None,
    per_day: int = 4,
) -> list[Path]:
    """Write page, sheets, workbook and tables into ``folder``; gives the paths. The same run gives the same bytes.

    Order of sites: without a proven path, life at stake, severity, age, then ease. Findings that are notes alone do not
    make a site worth a trip: such sites are counted, not listed. dealer: only this dealer's sites; group: ``area`` or
    ``dealer``, what a day's route shares; first_day: plans the visits, ``per_day`` a working day, route by route, and
    writes them to ``visits.ics``.
    """
    clock = Clock(run.meta["timezone"])
    findings = overview.findings_in_order(run)
    found = [site for site in sites(run, [r for r in findings if not r.get("quiet")]) if dealer in ("", site.dealer)]
    listed = [site for site in found if site.unprotected or site.severity != "note"]
    accounts = {row["account_key"]: row for row in rows(run, "accounts")}
    routes = _routes(listed, accounts, group)
    planned = _planned(listed, routes, first_day, per_day)
    sheets = visit_sheet.write_all(run, folder, listed, clock)
    text = (
        environment()
        .get_template("revisit.html.j2")
        .render(
            **read_what(run, clock),
            station=run.meta["station"],
            clock=clock,
            sites=listed,
            sheets=[sheet.name for sheet in sheets],
            planned=planned,
            routes=routes,
            group=group,
            dealer=dealer,
            set_aside=sum(1 for row in findings if row.get("quiet")),
            only_notes=len(found) - len(listed),
            desk_only=sum(1 for site in listed if site.needs in ("desk", "none")),
            remote=sum(1 for site in listed if site.needs == "remote"),
            visits=sum(1 for site in listed if site.needs == "visit"),
            cautions=cautions(*_CAUTIONS),
        )
    )
    written = [write_text(folder / "revisit.html", text), *sheets]
    kept = {row["finding_id"] for site in listed for row in site.steps}
    shown = [row for row in findings if row["finding_id"] in kept]
    written.append(workbook.write(run, folder / "revisit.xlsx", shown, clock))
    table = [_row(order, site, accounts, planned, sheets) for order, site in enumerate(listed, start=1)]
    written.append(write_csv(folder / "revisit.csv", _COLUMNS, table))
    blanks = [{"account": account} for site in listed if site.needs == "visit" for account in site.accounts]
    empty = dict.fromkeys(VISITS, "")
    written.append(write_csv(folder / "visits.csv", VISITS, [{**empty, **row} for row in blanks]))
    if planned:
        written.append(_calendar(run, folder, listed, accounts, planned))
    return written


def _routes(listed: Sequence[Site], accounts: dict[str, Row], group: str) -> list[tuple[str, list[int]]]:
    """What sites to visit share, and their places in the list; the most pressing route first."""
    found: dict[str, list[int]] = {}
    for place, site in enumerate(listed):
        if site.needs == "visit":
            name = site.dealer if group == "dealer" else visit_sheet.area_of(site, accounts)
            found.setdefault(name, []).append(place)
    # A group that is not known is no route: it comes last.
    return sorted(found.items(), key=lambda item: (not item[0], item[1][0]))


def _planned(
    listed: Sequence[Site], routes: Sequence[tuple[str, list[int]]], first_day: date | None, per_day: int
) -> dict[int, date]:
    """Place in the list -> day of the visit. Sites without a proven path come first, whatever route they are on."""
    if first_day is None:
        return {}
    order = [place for _, places in routes for place in places]
    order.sort(key=lambda place: not listed[place].unprotected)
    return dict(zip(order, calendar_file.days(first_day, per_day, len(order)), strict=True))


def _row(
    order: int, site: Site, accounts: dict[str, Row], planned: dict[int, date], sheets: Sequence[Path]
) -> dict[str, object]:
    address = (accounts[r["account_key"]]["address"] for r in site.steps if r["account_key"] in accounts)
    return {
        "order": order,
        "site": site.name,
        "accounts": " ".join(site.accounts),
        "system_type": " ".join(site.system_types),
        "severity": site.severity,
        "unprotected": site.unprotected,
        "since": site.oldest,
        "needs": site.needs,
        "causes": " | ".join(f"{cause.title} ({cause.confidence})" for cause in site.causes),
        "first_steps": " | ".join(dict.fromkeys(site.step(row) for row in site.steps)),
        "bring": " | ".join(site.bring),
        "customer": site.customer,
        "dealer": site.dealer,
        "installer": site.installer,
        "area": visit_sheet.area_of(site, accounts),
        "address": next((text for text in address if text), ""),
        "planned_on": planned.get(order - 1),
        "sheet": f"sheets/{sheets[order - 1].name}",
    }


def _calendar(
    run: RunLike, folder: Path, listed: Sequence[Site], accounts: dict[str, Row], planned: dict[int, date]
) -> Path:
    entries = []
    for place, day in sorted(planned.items(), key=lambda item: (item[1], item[0])):
        site = listed[place]
        row = _row(place + 1, site, accounts, planned, [Path()] * len(listed))
        told = [f"{site.severity}: {step['title']}" for step in site.steps]
        told += [f"probable cause: {cause.title}" for cause in site.causes]
        told += [f"bring: {part}" for part in site.bring]
        name = site.name or f"account {site.accounts[0]}"
        entries.append((day, site.key, f"Visit {name}", str(row["address"] or row["area"]), "\n".join(told)))
    stamp = instant(run.meta["as_of_utc"]) or datetime(1980, 1, 1)
    return calendar_file.write(folder / "visits.ics", entries, stamp, str(run.meta["label"]))
