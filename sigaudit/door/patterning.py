"""The command that looks for causes that come again and again where the same people or things do."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sigaudit.door.options import Json, Workspace, app, opened
from sigaudit.errors import StoreProblem

if TYPE_CHECKING:
    from sigaudit.judging.patterns import Pattern

_FAIR = (
    "A lead, not blame: groups differ in what they install and where, an account counts as soon as a cause is likely"
    " there, and nothing here was seen on site. Talk to those named before anybody else, and keep it out of customers'"
    " reports."
)


@app.command()
def patterns(
    week: Annotated[str, typer.Option("--week", help="ISO week like 2026-W47; its earlier weeks count with it.")] = "",
    every: Annotated[bool, typer.Option("--all", help="Also groups that chance explains.")] = False,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Show where one installer, dealer, area, transmitter, month or template has a cause more often than the rest.

    Exact tests against all others, adjusted for how many groups were looked at; --json holds the data of a funnel plot.

    Example: sigaudit patterns --week 2026-W47
    """
    from sigaudit import console
    from sigaudit.judging import audit, cause_evidence, cause_stage
    from sigaudit.judging import patterns as judging
    from sigaudit.store import rosters, runs

    settings, store = opened(workspace)
    run = audit.weekly(store, settings, week or None, progress=console.Drawn())
    reading = cause_stage.read_model(check["id"] for check in run.meta["checks"])
    if reading is None:
        raise StoreProblem("no cause model is installed", next_step="reinstall sigaudit")
    held = [run, *(one for one in (runs.latest(store, label) for label in run.meta["previous"]) if one is not None)]
    cases = judging.cases_of(one.table("causes").to_pylist() for one in held if one.has("causes"))
    roster = rosters.in_force(store, datetime.fromisoformat(run.meta["as_of_utc"]))[0]
    watched = [row for row in roster["accounts"].to_pylist() if row["monitored"]]
    needs = [(row["account_key"], row["what"]) for row in run.table("requirements").to_pylist()]
    traits = cause_evidence.traits_of(watched, roster["paths"].to_pylist(), needs, {})
    barred = {
        key: {cause.id for cause in reading.model.causes if set(cause.where) & has_not}
        for key, (_, has_not) in traits.items()
    }
    accounts = judging.grouped(watched)
    found = judging.find(accounts, cases, barred)
    out = [one for one in found if one.stands_out]
    lessons = judging.train(found, reading.model)
    weeks = sorted(one.meta["label"] for one in held)
    if json:
        console.document(
            "patterns",
            {"weeks": weeks, "tests": len(found), "patterns": [_told(one) for one in (found if every else out)],
             "funnel": [asdict(one) for one in judging.funnel(accounts, cases)], "train": lessons, "note": _FAIR},
        )  # fmt: skip
        return
    console.table([_row(one) for one in (found if every else out)])
    if lessons:
        console.out("what to train:")
        for row in lessons:
            console.out(f"  {row['who']} ({row['as']}): {row['what']}. {row['is']} Right: {row['right']}")
    console.note(
        f"{weeks[0]} to {weeks[-1]}: {len(accounts)} accounts, groups and causes tested: {len(found)};"
        f" more than chance explains: {len(out)}. {_FAIR}"
    )


def _told(one: Pattern) -> dict[str, Any]:
    return {**asdict(one), "stands_out": one.stands_out}


def _row(one: Pattern) -> dict[str, Any]:
    return {
        "by": one.factor, "group": one.value, "cause": one.cause, "here": f"{one.k} of {one.n}",
        "elsewhere": f"{one.other_k} of {one.other_n}", "p": f"{one.p:.2g}", "adjusted": f"{one.q:.2g}",
        "": "more than chance" if one.stands_out else "",
    }  # fmt: skip
