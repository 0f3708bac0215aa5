"""Commands that fill a workspace and say what it holds."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from sigaudit.door.options import Json, Workspace, app, opened, settings_of
from sigaudit.errors import UsageProblem

settings_app = typer.Typer(help="The station's settings.", rich_markup_mode=None, no_args_is_help=True)
layouts_app = typer.Typer(help="How exports are read.", rich_markup_mode=None, no_args_is_help=True)
app.add_typer(settings_app, name="settings")
app.add_typer(layouts_app, name="layouts")


@app.command()
def init(
    folder: Annotated[Path, typer.Argument(help="Folder of the new workspace.")],
    name: Annotated[str, typer.Option("--name", help="The station's name.")] = "",
    timezone: Annotated[str, typer.Option("--timezone", help="Area/City of the IANA database.")] = "",
    edition: Annotated[str, typer.Option("--edition", help="Rules edition, such as nfpa72-2019; no default.")] = "",
    json: Json = False,
) -> None:
    """Make a workspace: settings, folders for layouts, roster, checks and reports.

    Example: sigaudit init my-station --name "Our station" --timezone America/New_York
    """
    from sigaudit import console, workspace

    if sys.stdin.isatty() and not timezone:
        timezone = typer.prompt("Time zone (Area/City)", err=True)
    if sys.stdin.isatty() and not edition:
        edition = typer.prompt("Rules edition (empty: only the roster's intervals judge)", default="", err=True)
    settings = workspace.create(folder, name, timezone, edition)
    if json:
        console.document("init", {"settings": str(settings)})
    else:
        console.out(str(settings))
    console.note(f"next: put exports and roster in place, then: sigaudit --help; settings: {settings}")


@app.command()
def ingest(
    paths: Annotated[list[Path] | None, typer.Argument(help="Exports, or folders of them.")] = None,
    layout: Annotated[str | None, typer.Option("--layout", help="Use this layout.")] = None,
    again: Annotated[bool, typer.Option("--again", help="Read the rejected lines again, not a file.")] = False,
    max_rejects: Annotated[int | None, typer.Option("--max-rejects", help="Fail above this many rejects.")] = None,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Take exports into the store; nothing is counted twice, nothing is lost.

    With --again, after a layout was mended: read what was rejected once more and add what now parses.

    Example: sigaudit ingest exports/
    """
    from sigaudit import console, explain
    from sigaudit.reading import again as rereading
    from sigaudit.reading import ingest as reading

    if again and (paths or max_rejects is not None):
        what = "paths" if paths else "--max-rejects"
        raise UsageProblem(f"--again reads what the store has rejected: {what} cannot be given with it", next_step="")
    if not again and not paths:
        raise typer.BadParameter("name exports or folders of them, or say --again", param_hint="PATHS")
    settings, store = opened(workspace, create=not again)
    if again:
        result = rereading.run(
            store, settings, layout_id=layout, progress=console.Drawn(), memory_limit=settings.memory_limit
        )
    else:
        result = reading.run(
            store, settings, paths or [], layout_id=layout, progress=console.Drawn(), max_rejects=max_rejects,
            memory_limit=settings.memory_limit,
        )  # fmt: skip
    if json:
        console.document("ingest", explain.ingest_dict(result))
    for line in explain.ingest_lines(result):
        console.note(line)
    if result.exit_code:
        raise SystemExit(result.exit_code)


@app.command()
def roster(
    path: Annotated[Path, typer.Argument(help="Folder of CSV sheets, or one .xlsx.")],
    valid_from: Annotated[str, typer.Option("--valid-from", help="First day it holds, YYYY-MM-DD.")] = "",
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Load the roster: what each site should send. All faults are shown at once, nothing is half-loaded.

    Example: sigaudit roster roster/
    """
    from datetime import date, datetime

    from sigaudit import console
    from sigaudit.reading import roster as reading
    from sigaudit.store import rosters

    settings, store = opened(workspace, create=True)
    try:
        first = date.fromisoformat(valid_from) if valid_from else None
    except ValueError as error:
        raise UsageProblem(f"--valid-from {valid_from!r} is no date", next_step="write it like 2026-11-01") from error
    found = reading.read(path, settings)
    saved = rosters.save(store, found, first, datetime.now(settings.zone).date())
    counts = {name: len(table) for name, table in found.tables.items()}
    if json:
        console.document("roster", {"version": saved.version, "is_new": saved.is_new, "rows": counts})
    said = "new version" if saved.is_new else "same as version"
    rows = ", ".join(f"{n} {name}" for name, n in counts.items() if n)
    console.note(f"roster: {said} {saved.version}: {rows}")


@app.command()
def status(workspace: Workspace = None, json: Json = False) -> None:
    """What the store holds: per receiver line and local day, how much is covered.

    Example: sigaudit status
    """
    from sigaudit import console
    from sigaudit.judging import coverage_days
    from sigaudit.store import facts, rekey

    settings, store = opened(workspace)
    rekey.ensure(store, settings, memory_limit=settings.memory_limit, progress=console.Drawn())
    facts.build(store, memory_limit=settings.memory_limit, progress=console.Drawn())
    rows, notes = coverage_days.by_line_and_day(store, settings)
    if json:
        sources = [vars(source) for source in store.catalog.sources()]
        console.document("status", {"days": rows, "sources": sources, "notes": notes})
        return
    console.table(rows)
    for said in notes:
        console.note(said)
    console.note(coverage_days.summary(store))


@settings_app.command("show")
def settings_show(
    account: Annotated[str, typer.Option("--account", help="Only the limits of this account, and who set each.")] = "",
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Every setting in force, with the file and line it came from, and every limit with who set it.

    Of the card, the station, the system type, the dealer and the account the narrowest wins.

    Example: sigaudit settings show --account 0421
    """
    from sigaudit import console
    from sigaudit.judging import limits, limits_told
    from sigaudit.judging.audit import read_cards
    from sigaudit.store.opening import open_store

    settings = settings_of(workspace)
    cards = read_cards(settings)
    limits.severities(cards, settings)
    if account:
        who, told = limits_told.of_account(open_store(settings.store_dir), cards, settings, account)
        entries = []
    else:
        who, told = {}, limits_told.of_station(cards, settings)
        entries = [{"key": e.key, "value": _shown(e.value), "from": e.where} for e in settings.entries()]
    if json:
        console.document("settings", {"settings": entries, "limits": told, **who})
        return
    if entries:
        console.table(entries)
        console.out("")
    shown = [{**row, "value": f"{row['value']:g}"} for row in told]
    console.table([{name: value for name, value in row.items() if name != "source"} for row in shown])
    if who:
        dealer = f"dealer {who['dealer']}" if who["dealer"] else "no dealer"
        system = who["system_type"] or "system type not known"
        console.note(f"{who['account_key']}: {system}, {dealer}; sources: sigaudit checks ID, or --json")


@layouts_app.command("test")
def layouts_test(workspace: Workspace = None, json: Json = False) -> None:
    """Run every layout on its own samples; exit 4 when one does not hold.

    Example: sigaudit layouts test
    """
    from sigaudit import console
    from sigaudit.reading import samples

    settings = settings_of(workspace)
    rows = samples.check_all(settings)
    if json:
        console.document("layouts", {"layouts": rows})
    else:
        console.table(rows)
    if any(row["fault"] for row in rows):
        raise SystemExit(4)


@layouts_app.command("guess")
def layouts_guess(
    file: Annotated[Path, typer.Argument(help="An export that no layout fits.")],
    timezone: Annotated[str, typer.Option("--timezone", help="Zone of its times; default: the station's.")] = "station",
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Propose a layout for an unknown export: TOML on stdout; preview, share and doubts on stderr.

    Example: sigaudit layouts guess exports/week.txt
    """
    from sigaudit import console
    from sigaudit.reading.guess import fitting, guess

    try:
        layouts = settings_of(workspace).layouts_dir
    except UsageProblem:
        if workspace is not None:
            raise
        layouts = Path()
    for known in fitting(file, layouts):
        console.note(f"layout {known} fits this file already")
    found = guess(file, timezone=timezone)
    if json:
        console.document(
            "layouts",
            {"toml": found.toml, "preview": found.preview, "explained": found.explained, "unsure": found.unsure},
        )
    else:
        console.out(found.toml.rstrip())
    for row in found.preview:
        console.note("  ".join(f"{name}={value}" for name, value in row.items() if value != ""))
    console.note(f"this layout explains {found.explained:.1%} of the lines; look at the preview before it is used")
    if found.layout.timezone == "station":
        console.note("times that state no offset are read in the station's zone; --timezone names another")
    for doubt in found.unsure:
        console.note(f"unsure: {doubt}")


def _shown(value: object) -> object:
    """A setting's value as a person writes it."""
    return ", ".join(map(str, value)) if isinstance(value, tuple | list) else value
