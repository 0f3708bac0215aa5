"""The door: options in, one call, result out. Heavy libraries are imported inside the commands."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sigaudit import __version__
from sigaudit.errors import SigauditError, UsageProblem

if TYPE_CHECKING:
    from sigaudit.settings import Settings
    from sigaudit.store.opening import Store

app = typer.Typer(
    name="sigaudit", add_completion=False, rich_markup_mode=None, no_args_is_help=True, pretty_exceptions_enable=False,
    help="What a monitoring station's receivers really heard: who is unprotected and what is wrong.",
)  # fmt: skip

Workspace = Annotated[Path | None, typer.Option("--workspace", "-w", help="Workspace folder; default: here or above.")]
Json = Annotated[bool, typer.Option("--json", help="A versioned JSON document on stdout.")]
FailOn = Annotated[str, typer.Option("--fail-on", help="Exit 20 at a finding of this severity or worse.")]
_state: dict[str, Any] = {"debug": False}


def _print_version(asked: bool) -> None:
    # A callback of the option itself, because the group would otherwise ask for a command first.
    if asked:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def options(
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")] = False,
    version: Annotated[
        bool, typer.Option("--version", help="Print the version and stop.", is_eager=True, callback=_print_version)
    ] = False,
) -> None:
    _state["debug"] = debug


def main() -> None:
    """Entry point: every error of ours becomes one sentence and its exit code."""
    from sigaudit import console

    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
    try:
        app()
    except SigauditError as error:
        console.fail(error, debug=bool(_state["debug"]))
    except KeyboardInterrupt:
        console.note("interrupted; the store is as it was before")
        raise SystemExit(130) from None
    except BrokenPipeError:
        raise SystemExit(0) from None


@app.command()
def init(
    folder: Annotated[Path, typer.Argument(help="Folder of the new workspace.")],
    name: Annotated[str, typer.Option("--name", help="The station's name.")] = "",
    timezone: Annotated[str, typer.Option("--timezone", help="Area/City of the IANA database.")] = "",
    edition: Annotated[str, typer.Option("--edition", help="Rules edition, such as nfpa72-2019; no default.")] = "",
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
    console.out(str(settings))
    console.note(f"next: put exports and roster in place, then: sigaudit --help; settings: {settings}")


@app.command()
def ingest(
    paths: Annotated[list[Path], typer.Argument(help="Exports, or folders of them.")],
    layout: Annotated[str | None, typer.Option("--layout", help="Use this layout.")] = None,
    max_rejects: Annotated[int | None, typer.Option("--max-rejects", help="Fail above this many rejects.")] = None,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Take exports into the store; nothing is counted twice, nothing is lost.

    Example: sigaudit ingest exports/
    """
    from sigaudit import console, explain
    from sigaudit.reading import ingest as reading

    settings, store = _open(workspace, create=True)
    result = reading.run(
        store, settings, paths, layout_id=layout, progress=console.Drawn(), max_rejects=max_rejects,
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

    settings, store = _open(workspace, create=True)
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

    settings, store = _open(workspace)
    rekey.ensure(store, settings, memory_limit=settings.memory_limit, progress=console.Drawn())
    facts.build(store, memory_limit=settings.memory_limit, progress=console.Drawn())
    rows = coverage_days.by_line_and_day(store, settings)
    if json:
        console.document("status", {"days": rows, "sources": [vars(s) for s in store.catalog.sources()]})
        return
    console.table(rows)
    console.note(coverage_days.summary(store))


@app.command()
def audit(
    week: Annotated[str, typer.Option("--week", help="ISO week like 2026-W47; default: the last whole one.")] = "",
    fail_on: FailOn = "",
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Judge a week and write the weekly audit: pages, tables and workbook.

    Example: sigaudit audit --week 2026-W47
    """
    from sigaudit import console
    from sigaudit.judging import audit as judging
    from sigaudit.reporting import weekly

    failing = _or_worse(fail_on)
    settings, store = _open(workspace)
    run = judging.weekly(store, settings, week or None, progress=console.Drawn())
    folder = settings.reports_dir / f"audit-{run.meta['label']}"
    weekly.write(run, folder, station=settings.report_name or settings.station)
    _answer(run, folder, json=json)
    if failing & set(run.table("findings")["severity"].to_pylist()):
        raise SystemExit(20)


@app.command()
def revisit(week: Annotated[str, typer.Option("--week", help="ISO week.")] = "", workspace: Workspace = None) -> None:
    """Write the list of sites to revisit, most urgent first.

    Example: sigaudit revisit
    """
    from sigaudit.reporting import revisit as reporting

    _page(week, workspace, "revisit", reporting.write)


@app.command()
def health(week: Annotated[str, typer.Option("--week", help="ISO week.")] = "", workspace: Workspace = None) -> None:
    """Write the health page of the customers.

    Example: sigaudit health
    """
    from sigaudit.reporting import health as reporting

    _page(week, workspace, "health", reporting.write)


@app.command()
def why(
    finding: Annotated[str, typer.Argument(help="Finding id, or its first digits.")],
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Walk a finding back: measure, limit, source of the limit, excuses, log lines.

    Example: sigaudit why 3fa9c1
    """
    from sigaudit import console, explain
    from sigaudit.judging import why as judging

    settings, store = _open(workspace)
    found = judging.explain(store, settings, finding)
    if json:
        console.document("why", explain.as_dict(found.finding, found.card, found.evidence, found.incidents))
        return
    for line in explain.lines(found.finding, found.card, found.evidence, found.incidents, settings.zone):
        console.out(line)


@app.command()
def checks(
    check: Annotated[str, typer.Argument(help="Check id, to see its card.")] = "",
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """List the checks, or show the card of one.

    Example: sigaudit checks gone_silent
    """
    from sigaudit import console, explain
    from sigaudit.judging.cards import read_all
    from sigaudit.known_names import did_you_mean
    from sigaudit.store import shipped

    folders = [shipped.queries() / "checks"]
    try:
        folders.append(_settings(workspace).checks_dir)
    except UsageProblem:
        if workspace is not None:
            raise
    cards = read_all(*folders)
    if check and check not in cards:
        raise UsageProblem(f"no check {check!r}{did_you_mean(check, cards)}", next_step="`sigaudit checks` lists them")
    if json:
        chosen = [cards[check]] if check else list(cards.values())
        console.document("checks", {"checks": [explain.card_dict(card) for card in chosen]})
    elif check:
        for line in explain.card_lines(cards[check]):
            console.out(line)
    else:
        console.table([{"check": c.id, "severity": c.severity["default"], "title": c.title} for c in cards.values()])


@app.command()
def rejects(workspace: Workspace = None, json: Json = False) -> None:
    """List the lines that could not be used, by reason, with counts and samples.

    Example: sigaudit rejects
    """
    from sigaudit import console
    from sigaudit.store import views

    settings, store = _open(workspace)
    rows = views.rejects_by_reason(store, settings.memory_limit)
    if json:
        console.document("rejects", {"rejects": rows})
    else:
        console.table(rows)


@app.command()
def sql(
    query: Annotated[str, typer.Argument(help="One select over the documented views; - reads stdin.")],
    week: Annotated[str, typer.Option("--week", help="Views of this week's audit.")] = "",
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Ask the store with one read-only select.

    Example: sigaudit sql "select code, count(*) from events group by code order by 2 desc limit 5"
    """
    from sigaudit import console
    from sigaudit.store import views

    settings, store = _open(workspace)
    text = sys.stdin.read() if query == "-" else query
    rows = views.ask(store, text, week=week, memory_limit=settings.memory_limit)
    if json:
        console.document("sql", {"rows": rows})
    else:
        console.table(rows)


settings_app = typer.Typer(help="The station's settings.", rich_markup_mode=None, no_args_is_help=True)
app.add_typer(settings_app, name="settings")


@settings_app.command("show")
def settings_show(workspace: Workspace = None, json: Json = False) -> None:
    """Every setting in force, with the file and line it came from.

    Example: sigaudit settings show
    """
    from sigaudit import console

    rows = [{"key": e.key, "value": e.value, "from": e.where} for e in _settings(workspace).entries()]
    if json:
        console.document("settings", {"settings": rows})
    else:
        console.table(rows)


layouts_app = typer.Typer(help="How exports are read.", rich_markup_mode=None, no_args_is_help=True)
app.add_typer(layouts_app, name="layouts")


@layouts_app.command("test")
def layouts_test(workspace: Workspace = None, json: Json = False) -> None:
    """Run every layout on its own samples; exit 4 when one does not hold.

    Example: sigaudit layouts test
    """
    from sigaudit import console
    from sigaudit.reading import samples

    settings = _settings(workspace)
    rows = samples.check_all(settings)
    if json:
        console.document("layouts", {"layouts": rows})
    else:
        console.table(rows)
    if any(row["fault"] for row in rows):
        raise SystemExit(4)


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="Folder for the demo workspace.")] = Path("sigaudit-demo"),
    json: Json = False,
) -> None:
    """Run the whole main job on an invented station and say where the reports lie.

    Example: sigaudit demo
    """
    from sigaudit import console
    from sigaudit.demo import run

    made = run(folder, console.Drawn(), console.note)
    if json:
        console.document("demo", {name: str(path) for name, path in made.items()})
        return
    for name, path in made.items():
        console.out(f"{name}: {path}")


def _settings(workspace: Path | None) -> Settings:
    from sigaudit.settings import load

    return load(workspace)


def _open(workspace: Path | None, *, create: bool = False) -> tuple[Settings, Store]:
    from sigaudit.store.opening import open_store

    settings = _settings(workspace)
    return settings, open_store(settings.store_dir, create=create)


def _page(week: str, workspace: Path | None, name: str, write: Any) -> None:
    from sigaudit import console
    from sigaudit.judging import audit as judging

    settings, store = _open(workspace)
    run = judging.weekly(store, settings, week or None, progress=console.Drawn())
    for path in write(run, settings.reports_dir / f"{name}-{run.meta['label']}"):
        console.out(str(path))


def _answer(run: Any, folder: Path, *, json: bool) -> None:
    from sigaudit import console

    findings = run.table("findings")
    counted = {s: findings["severity"].to_pylist().count(s) for s in ("critical", "major", "minor", "note")}
    unprotected = len(run.table("unprotected"))
    if json:
        figures = run.table("figures").to_pylist()
        console.document(
            "audit",
            {"week": run.meta["label"], "folder": str(folder), "findings": counted, "unprotected": unprotected,
             "figures": figures, "sum": run.meta["sum"]},
        )  # fmt: skip
        return
    for name in ("index.html", "findings.csv", "unprotected.csv", "revisit.xlsx"):
        console.out(str(folder / name))
    words = ", ".join(f"{n} {s}" for s, n in counted.items())
    console.note(f"{run.meta['label']}: {words}; {unprotected} life-safety accounts without a proven path")


def _or_worse(level: str) -> set[str]:
    """Severities from ``level`` upward, none for ''."""
    order = ("critical", "major", "minor", "note")
    if level and level not in order:
        raise UsageProblem(f"--fail-on {level!r}: no such severity", next_step=f"one of: {', '.join(order)}")
    return set(order[: order.index(level) + 1]) if level else set()


if __name__ == "__main__":
    main()
