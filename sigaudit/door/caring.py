"""Commands for dealers and customers: the monthly health reports."""

from __future__ import annotations

from typing import Annotated

import typer

from sigaudit.door.options import Json, Workspace, app, opened
from sigaudit.errors import UsageProblem


@app.command()
def health(
    month: Annotated[str, typer.Option("--month", help="A month like 2026-10; default: the last whole one.")] = "",
    customer: Annotated[str, typer.Option("--customer", help="Only this customer: name, or file name.")] = "",
    dealer: Annotated[str, typer.Option("--dealer", help="Only this dealer's folder: name, or folder name.")] = "",
    no_pdf: Annotated[bool, typer.Option("--no-pdf", help="Pages only, no PDF.")] = False,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Write a month's health reports: a page and a PDF per customer, a folder per dealer.

    Example: sigaudit health --month 2026-10 --dealer "Dealer Alder"
    """
    from sigaudit import console
    from sigaudit.judging import monthly as judging
    from sigaudit.reporting import health as reporting
    from sigaudit.reporting import identity
    from sigaudit.store import set_asides

    if customer and dealer:
        raise UsageProblem("--customer and --dealer together", next_step="give one of them")
    settings, store = opened(workspace)
    who = identity.of(settings)
    months = judging.monthly(store, settings, month or None, progress=console.Drawn())
    label = months.run.meta["label"]
    folder = settings.reports_dir / f"health-{label}"
    written = reporting.write(
        set_asides.decided(store, months.run),
        folder,
        who,
        compared=[run for run in (months.month_before, months.year_before) if run is not None],
        asked=reporting.Asked(customer, dealer, not no_pdf),
        progress=console.Drawn(),
    )
    if json:
        console.document("health", {"month": label, "folder": str(folder), "files": [str(path) for path in written]})
        return
    first = [path for path in written if path.name == "index.html"] or written
    for path in first:
        console.out(str(path))
    if months.run.meta["as_of_utc"] != months.run.meta["until_utc"]:
        console.note(f"the log held ends at {months.run.meta['as_of_utc']} UTC: {label} is told of up to then only")
    console.note(f"{label}: {sum(path.suffix == '.html' for path in written)} pages in {folder}")
