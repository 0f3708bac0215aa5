"""Commands that show one account: its page, and its lines as they were received."""

from __future__ import annotations

from typing import Annotated

import typer

from sigaudit.door.options import Json, Mask, Workspace, app, opened, report_folder, shown, station_name


@app.command()
def site(
    account: Annotated[str, typer.Argument(help="Account, 1234 or GROUP/1234.")],
    week: Annotated[str, typer.Option("--week", help="ISO week like 2026-W47; default: the last whole one.")] = "",
    mask: Mask = False,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Write the page of an account, with a finding or without, and of the others of its site.

    All signals by origin and path, tests by day and time of day, check-in gaps, conditions, what was missing of the
    log, findings with their evidence, roster, visits.

    Example: sigaudit site 0421 --week 2026-W47
    """
    from sigaudit import console
    from sigaudit.judging import one_site
    from sigaudit.reporting import site as reporting
    from sigaudit.reporting.masking import Masked

    settings, store = opened(workspace)
    found = one_site.of_account(store, settings, account, week or None, progress=console.Drawn())
    label = found.meta["label"]
    folder = report_folder(settings, "site", found, mask=mask)
    run = shown(store, found, mask=mask)
    keys = [run.key(key) for key in found.account_keys] if isinstance(run, Masked) else list(found.account_keys)
    pages = reporting.write(run, folder, keys, station=station_name(settings, mask=mask))
    accounts = {row["account_key"]: row for row in run.table("accounts").to_pylist()}
    said = {key: accounts[key] for key in keys}
    findings = run.table("findings").to_pylist()
    if json:
        console.document(
            "site",
            {
                "week": label,
                "accounts": [
                    {**said[key], "page": str(page), "findings": [f for f in findings if f["account_key"] == key]}
                    for key, page in zip(keys, pages, strict=True)
                ],
            },
        )
        return
    for page in pages:
        console.out(str(page))
    for key in keys:
        mine = [f for f in findings if f["account_key"] == key]
        name = said[key]["account"]
        if not mine:
            console.note(f"{name}: no finding in {label}")
        for f in mine:
            console.note(f"{name}: {f['severity']} {f['check']}: {f['sentence']}")
