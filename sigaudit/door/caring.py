"""Commands for dealers and customers: the monthly health reports, and sending them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated

import typer

from sigaudit.door.options import Json, Mask, Workspace, app, opened, report_folder, shown, station_name
from sigaudit.errors import SettingsProblem, UsageProblem


@app.command()
def health(
    month: Annotated[str, typer.Option("--month", help="A month like 2026-10; default: the last whole one.")] = "",
    customer: Annotated[str, typer.Option("--customer", help="Only this customer: name, or file name.")] = "",
    dealer: Annotated[str, typer.Option("--dealer", help="Only this dealer's folder: name, or folder name.")] = "",
    no_pdf: Annotated[bool, typer.Option("--no-pdf", help="Pages only, no PDF.")] = False,
    mask: Mask = False,
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
    from sigaudit.reporting.masking import Masked

    if customer and dealer:
        raise UsageProblem("--customer and --dealer together", next_step="give one of them")
    settings, store = opened(workspace)
    who = identity.of(settings)
    if mask:
        who = replace(who, name=station_name(settings, mask=True), contact="", logo=b"", logo_kind="")
    months = judging.monthly(store, settings, month or None, progress=console.Drawn())
    label = months.run.meta["label"]
    folder = report_folder(settings, "health", months.run, mask=mask)
    run = shown(store, months.run, mask=mask)
    if isinstance(run, Masked):
        customer, dealer = run.name("Customer", customer), run.name("Dealer", dealer)
    written = reporting.write(
        run,
        folder,
        who,
        compared=[
            shown(store, past, mask=mask) for past in (months.month_before, months.year_before) if past is not None
        ],
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


@app.command()
def send(
    month: Annotated[str, typer.Option("--month", help="A month like 2026-10; default: the last whole one.")] = "",
    release: Annotated[str, typer.Option("--release", help="Who releases them: nothing is sent without.")] = "",
    customer: Annotated[str, typer.Option("--customer", help="Only this customer: name, or file name.")] = "",
    dealer: Annotated[str, typer.Option("--dealer", help="Only this dealer's: name, or folder name.")] = "",
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Send a month's health reports by the station's mail server; a dry run unless --release says by whom.

    The dry run writes the letters as .eml files and says which reports stay and why. A customer with an open critical
    finding is held until the desk writes in held.csv when the owner was told. Each report goes out once.

    Example: sigaudit send --month 2026-10
    """
    from sigaudit import console
    from sigaudit.judging import monthly as judging
    from sigaudit.reporting import identity, letters, sending
    from sigaudit.reporting.mail import Post
    from sigaudit.store import set_asides

    settings, store = opened(workspace)
    # What the server needs is asked before any work, and for the sender's address in the dry run too.
    post = Post(settings.mail) if release.strip() else None
    if not settings.mail["sender"]:
        raise SettingsProblem("sigaudit.toml: mail.sender is not set", next_step="write it under [mail]")
    run = set_asides.decided(store, judging.monthly(store, settings, month or None, progress=console.Drawn()).run)
    label = run.meta["label"]
    folder = settings.reports_dir / f"health-{label}"
    told = letters.read_told(folder)
    ready, kept = letters.prepare(
        run, identity.of(settings), settings.mail["sender"], told, dealer=dealer.strip(), customer=customer.strip()
    )
    if not customer and not dealer:
        letters.write_held(folder, kept, told)
    if post is None:
        paths = sending.write_drafts(folder, ready)
        done = []
    else:
        paths = []
        now = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
        done = sending.release(store, label, ready, post, by=release.strip(), at=now, progress=console.Drawn())
    stays = [{"report": one.report, "customer": one.customer, "why": one.why} for one in kept]
    letters_told = [{"report": x.report, "address": x.address, "state": x.state, "said": x.said} for x in done]
    if json:
        told_files = [str(path) for path in paths]
        console.document("send", {"month": label, "drafts": told_files, "letters": letters_told, "kept": stays})
        return
    for path in paths:
        console.out(str(path))
    if letters_told:
        console.table(letters_told)
    for why in dict.fromkeys(one.why for one in kept):
        console.note(f"{sum(one.why == why for one in kept)} reports stay: {why}")
    if post is None:
        console.note(f"{len(ready)} letters written, none sent: `sigaudit send --release NAME` sends them")
