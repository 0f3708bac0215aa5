"""Commands that judge, explain and report."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from sigaudit.door.options import (
    FailOn,
    Json,
    Mask,
    Workspace,
    app,
    known_cards,
    opened,
    report_folder,
    shown,
    station_name,
)
from sigaudit.errors import UsageProblem


@app.command()
def audit(
    week: Annotated[str, typer.Option("--week", help="ISO week like 2026-W47; default: the last whole one.")] = "",
    day: Annotated[str, typer.Option("--day", help="A day like 2026-11-17: only what cannot wait.")] = "",
    fail_on: FailOn = "",
    mask: Mask = False,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Judge a week, or with --day one day with only what cannot wait: pages, tables and workbook.

    The daily list holds silent fire, medical and hold-up accounts, alarms of unknown or cancelled accounts or while on
    test, and the like; it does not replace the station's daily handling of late tests.

    Example: sigaudit audit --week 2026-W47
    """
    from sigaudit import console
    from sigaudit.judging import audit as judging
    from sigaudit.reporting import weekly

    failing = _or_worse(fail_on)
    if week and day:
        raise UsageProblem("--week and --day are two different audits", next_step="give one of them")
    settings, store = opened(workspace)
    if day:
        run = judging.daily(store, settings, day, progress=console.Drawn())
    else:
        run = judging.weekly(store, settings, week or None, progress=console.Drawn())
    folder = report_folder(settings, "audit", run, mask=mask)
    weekly.write(shown(store, run, mask=mask), folder, station=station_name(settings, mask=mask))
    _answer(run, folder, json=json)
    if failing & set(run.table("findings")["severity"].to_pylist()):
        raise SystemExit(20)


@app.command()
def revisit(
    week: Annotated[str, typer.Option("--week", help="ISO week like 2026-W47.")] = "",
    dealer: Annotated[str, typer.Option("--dealer", help="Only this dealer's sites.")] = "",
    group: Annotated[str, typer.Option("--group", help="What a day's route shares: area or dealer.")] = "area",
    plan_from: Annotated[
        str, typer.Option("--plan-from", help="First day of visits, 2026-11-24: a calendar file.")
    ] = "",
    per_day: Annotated[int, typer.Option("--per-day", help="Visits a working day, with --plan-from.")] = 4,
    mask: Mask = False,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Write the sites to revisit, most urgent first: list, visit sheets, workbook, CSV and calendar file.

    Example: sigaudit revisit --dealer "Dealer Birch" --plan-from 2026-11-24
    """
    from sigaudit import console
    from sigaudit.judging import audit as judging
    from sigaudit.reporting import revisit as reporting

    if group not in reporting.GROUPS:
        raise UsageProblem(f"--group {group!r}: visits go by area or by dealer", next_step="give one of them")
    if not 1 <= per_day <= 50:
        raise UsageProblem("--per-day takes 1 to 50", next_step="see --help")
    first = _date(plan_from, "--plan-from") if plan_from else None
    settings, store = opened(workspace)
    run = judging.weekly(store, settings, week or None, progress=console.Drawn())
    folder = report_folder(settings, "revisit", run, mask=mask)
    told = shown(store, run, mask=mask)
    known = sorted(set(run.table("findings")["dealer"].to_pylist()) - {""})
    if dealer and dealer not in known:
        raise UsageProblem(f"no finding of a dealer {dealer!r}", next_step=f"one of: {', '.join(known) or 'none'}")
    chosen = told.name("Dealer", dealer) if mask else dealer
    written = reporting.write(told, folder, dealer=chosen, group=group, first_day=first, per_day=per_day)
    if json:
        console.document("revisit", {"week": run.meta["label"], "files": [str(path) for path in written]})
        return
    for path in written:
        console.out(str(path))


@app.command()
def why(
    finding: Annotated[str, typer.Argument(help="Finding id, or its first digits.")],
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Walk a finding back: measure, limit, source of the limit, excuses, log lines, reckoning of the causes.

    Example: sigaudit why 3fa9c1
    """
    from sigaudit import console, explain
    from sigaudit.door.causing import reckoned
    from sigaudit.judging import reckoning
    from sigaudit.judging import why as judging

    settings, store = opened(workspace)
    found = judging.explain(store, settings, finding)
    steps = reckoned(store, settings, found.run, found.finding["account_key"])
    if json:
        told = explain.as_dict(found.finding, found.card, found.evidence, found.incidents, found.weighed)
        told["reckoning"] = reckoning.as_dict(steps) if steps else None
        console.document("why", {**told, "decision": found.decision})
        return
    behind = found.evidence, found.incidents, found.weighed
    for line in explain.lines(found.finding, found.card, *behind, settings.zone):
        console.out(line)
    if found.decision:
        console.out(found.decision)
    for line in reckoning.lines(steps) if steps else ():
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
    from sigaudit.known_names import did_you_mean

    cards = known_cards(workspace)
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

    settings, store = opened(workspace)
    text = sys.stdin.read() if query == "-" else query
    rows = views.ask(store, text, week=week, memory_limit=settings.memory_limit)
    if json:
        console.document("sql", {"rows": rows})
    else:
        console.table(rows)


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
    if run.meta["as_of_utc"] != run.meta["until_utc"]:
        console.note(f"the log held ends at {run.meta['as_of_utc']} UTC: the audit speaks for the time up to then only")
    console.note(f"{run.meta['label']}: {words}; {unprotected} life-safety accounts without a proven path")


def _date(text: str, option: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageProblem(f"{option} {text!r}: no such day", next_step="write it as 2026-11-24") from None


def _or_worse(level: str) -> set[str]:
    """Severities from ``level`` upward, none for ''."""
    order = ("critical", "major", "minor", "note")
    if level and level not in order:
        raise UsageProblem(f"--fail-on {level!r}: no such severity", next_step=f"one of: {', '.join(order)}")
    return set(order[: order.index(level) + 1]) if level else set()
