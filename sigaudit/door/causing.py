"""Commands that name causes: the sites of a week, a cause's card, and what visits taught."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sigaudit.door.options import Json, Workspace, app, known_cards, opened
from sigaudit.errors import UsageProblem

if TYPE_CHECKING:
    from pathlib import Path

    import pyarrow as pa

    from sigaudit.settings import Settings
    from sigaudit.store.opening import Store


@app.command()
def causes(
    cause: Annotated[str, typer.Argument(help="Cause id, to see its card.")] = "",
    week: Annotated[str, typer.Option("--week", help="ISO week like 2026-W47; default: the last whole one.")] = "",
    account: Annotated[str, typer.Option("--account", help="Only the site of this account, with the evidence.")] = "",
    reference: Annotated[
        bool, typer.Option("--reference", help="With the built-in numbers alone: nothing measured, no visits.")
    ] = False,
    learnt: Annotated[bool, typer.Option("--learnt", help="What this station's visits have taught.")] = False,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """List the sites of a week with their probable causes, or show the card of one cause.

    A cause is what was probably installed or programmed wrong; `why FINDING` shows how it was reckoned.

    Example: sigaudit causes --week 2026-W47
    """
    if cause and (week or account or learnt):
        raise UsageProblem("a cause's card takes no --week, --account or --learnt", next_step="leave out the cause id")
    if learnt and (account or reference):
        raise UsageProblem("--learnt takes neither --account nor --reference", next_step="see --help")
    if cause:
        _card(cause, workspace, reference=reference, json=json)
    elif learnt:
        _learnt(week, workspace, json=json)
    else:
        _sites(week, account, workspace, reference=reference, json=json)


def _card(name: str, workspace: Path | None, *, reference: bool, json: bool) -> None:
    from sigaudit import console
    from sigaudit.door import cause_text
    from sigaudit.judging import cause_stage
    from sigaudit.known_names import did_you_mean

    reading = cause_stage.read_model(known_cards(workspace))
    ids = [one.id for one in reading.model.causes] if reading else []
    if reading is None or name not in ids:
        raise UsageProblem(f"no cause {name!r}{did_you_mean(name, ids)}", next_step=f"known: {', '.join(ids)}")
    model = reading.reference if reference else reading.model
    if json:
        console.document("causes", {"cause": asdict(model.cause(name)), "standings": dict(model.standings)})
        return
    for line in cause_text.card_lines(model.cause(name), model):
        console.out(line)


def _sites(week: str, account: str, workspace: Path | None, *, reference: bool, json: bool) -> None:
    from sigaudit import console
    from sigaudit.door import cause_text
    from sigaudit.judging import audit, cause_stage
    from sigaudit.reporting import overview, sites
    from sigaudit.store.account_names import account_key

    settings, store = opened(workspace)
    run: Any = audit.weekly(store, settings, week or None, progress=console.Drawn())
    if reference:
        run = _Replaced(run, cause_stage.again(store, settings, run, reference=True)[0].table)
    found = sites.sites(run, overview.findings_in_order(run))
    if account:
        key = account_key(account, run.table("accounts")["account_key"].to_pylist())
        found = [site for site in found if key in {row["account_key"] for row in site.steps}]
        if not found:
            raise UsageProblem(f"account {account}: no finding in {run.meta['label']}", next_step="name another --week")
    if json:
        told = [cause_text.site_dict(site) for site in found]
        console.document("causes", {"week": run.meta["label"], "reference": reference, "sites": told})
        return
    console.table([row for site in found for row in cause_text.site_rows(site)])
    if account:
        for site in found:
            for line in cause_text.site_lines(site):
                console.out(line)
    named = sum(1 for site in found if site.causes)
    console.note(
        f"{run.meta['label']}: sites with findings: {len(found)}; with a named cause: {named}; the others are unclear."
        " A cause is a lead, not a proof: confirm it at the site before anything is changed."
    )


def _learnt(week: str, workspace: Path | None, *, json: bool) -> None:
    from sigaudit import console
    from sigaudit.door import cause_text
    from sigaudit.judging import audit, cause_stage, visit_record
    from sigaudit.store import runs

    settings, store = opened(workspace)
    run = audit.weekly(store, settings, week or None, progress=console.Drawn())
    told = cause_stage.again(store, settings, run)[1]
    held = [one for one in (runs.latest(store, label) for label in runs.labels(store)) if one is not None]
    record = visit_record.record(told.visits, held, settings.zone)
    said = cause_text.learnt_notes(told, record)
    if json:
        console.document(
            "causes",
            {"week": run.meta["label"], "visits": len(told.visits), "numbers": [asdict(line) for line in told.lines],
             "record": asdict(record), "sentences": said},
        )  # fmt: skip
        return
    console.table([cause_text.learnt_row(line) for line in told.lines])
    console.table([cause_text.predicted_row(row) for row in record.predicted])
    for line in said:
        console.out(line)


@dataclass(frozen=True)
class _Replaced:
    """A run with another table of causes in it."""

    run: Any
    causes: pa.Table

    @property
    def meta(self) -> dict[str, Any]:
        return dict(self.run.meta)

    def table(self, name: str) -> pa.Table:
        return self.causes if name == "causes" else self.run.table(name)


def reckoned(store: Store, settings: Settings, run: Any, account_key: str) -> Any:
    """The reckoning of the account, or of the one that a stray number is probably of; None where there is none."""
    from sigaudit.judging import cause_stage, reckoning

    if not run.has("cause_units"):
        return None
    diagnosis, _ = cause_stage.again(store, settings, run)
    units = diagnosis.evidence.units
    owners = [(unit.link, unit.key) for unit in units if unit.stray == account_key]
    return reckoning.reckon(diagnosis, max(owners)[1] if owners else account_key)
