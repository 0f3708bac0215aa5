"""One sheet of paper per site to visit: what is known, to check, to send and see, and was found. No script."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from sigaudit.reporting.files import sweep, write_text
from sigaudit.reporting.page import Clock, Row, RunLike, cautions, environment, grouped, page_name, read_what, rows
from sigaudit.reporting.sites import Site

_CAUTIONS = ("C01", "C03", "C04", "C06", "C19", "C20", "C21", "C25")
_FIRE = ("C05", "C08", "C09", "C10")
_PHONE = ("C26",)
# Longer than a sheet of paper bears; the rest is counted.
MOST_STEPS = 60


def number(site: Site) -> int:
    """The number by which a site's sheet is named: the page of its first account with a finding."""
    return min(int(row["page_no"]) for row in site.steps)


def write_all(run: RunLike, folder: Path, listed: Sequence[Site], clock: Clock) -> list[Path]:
    """Write ``sheets/NNNN.html`` for each site; gives the paths in the order of the sites.

    Sheets of an earlier run of the same folder that this run does not have are removed.
    """
    template = environment().get_template("sheet.html.j2")
    head = read_what(run, clock)
    accounts = {row["account_key"]: row for row in rows(run, "accounts")}
    ways = grouped(rows(run, "path_rows"), "account_key")
    visits = grouped(rows(run, "visit_rows"), "page_no")
    steps = grouped(rows(run, "signals_to_see"), "account_key")
    written = []
    for order, site in enumerate(listed, start=1):
        keys = list(dict.fromkeys(row["account_key"] for row in site.steps))
        plan = [step for key in keys for step in steps.get(key, [])]
        paths = [way for key in keys for way in ways.get(key, [])]
        pages = sorted({row["page_no"] for row in site.steps})
        fire = any(kind != "burglary" for kind in site.system_types)
        phone = any(way["kind"] == "phone" for way in paths)
        text = template.render(
            **head,
            station=run.meta["station"],
            clock=clock,
            order=order,
            site=site,
            address=next((accounts[k]["address"] for k in keys if k in accounts and accounts[k]["address"]), ""),
            area=area_of(site, accounts),
            numbers={key: accounts[key]["account"] if key in accounts else key.rpartition("/")[2] for key in keys},
            paths=paths,
            plan=plan[:MOST_STEPS],
            left_out=max(0, len(plan) - MOST_STEPS),
            visits=[visit for page in pages for visit in visits.get(page, [])],
            cautions=cautions(*_CAUTIONS, *(_FIRE if fire else ()), *(_PHONE if phone else ())),
        )
        written.append(write_text(folder / "sheets" / page_name(number(site)), text))
    sweep(folder / "sheets", written)
    return written


def area_of(site: Site, accounts: Mapping[str, Row]) -> str:
    """The area of a site by the roster; '' where it is not known."""
    found = (accounts[row["account_key"]]["area"] for row in site.steps if row["account_key"] in accounts)
    return next((area for area in found if area), "")
