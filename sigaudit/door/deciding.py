"""Commands by which somebody decides about a finding."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from sigaudit.door.options import Json, Workspace, app, opened
from sigaudit.errors import UsageProblem

if TYPE_CHECKING:
    from sigaudit.store.set_asides import SetAside


@app.command("set-aside")
def set_aside(
    finding: Annotated[str, typer.Argument(help="Finding id, or its first digits; none lists them.")] = "",
    until: Annotated[str, typer.Option("--until", help="Last day on which it holds, YYYY-MM-DD.")] = "",
    reason: Annotated[str, typer.Option("--reason", help="Why, in a short sentence.")] = "",
    by: Annotated[str, typer.Option("--by", help="Whose decision it is.")] = "",
    lift: Annotated[bool, typer.Option("--lift", help="End it before its day.")] = False,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Set a finding aside until a day: still counted, and back when the day is over or it gets worse.

    Critical and major findings on fire, medical and hold-up accounts can be set aside for 7 days and stay visible.

    Example: sigaudit set-aside 3fa9c1 --until 2026-12-04 --reason "part ordered" --by "A. Miller"
    """
    from sigaudit import console
    from sigaudit.judging import set_aside as judging

    settings, store = opened(workspace)
    today = datetime.now(settings.zone).date()
    if not finding:
        rows = [_row(one, today) for one in judging.standing(store)]
        if json:
            console.document("set-aside", {"set_aside": rows})
        else:
            console.table(rows)
        return
    if lift:
        if until or reason:
            raise UsageProblem("--lift takes neither --until nor --reason", next_step="say who: --by NAME")
        one = judging.end(store, finding, by=by, today=today)
        said = "no longer set aside"
    else:
        one = judging.make(store, settings, finding, until=until, reason=reason, by=by, today=today)
        said = f"set aside up to and with {one.until}"
    if json:
        console.document("set-aside", {"finding_id": one.finding_id, "until": str(one.until), "lifted": lift})
    else:
        console.out(one.finding_id)
    what = f"{one.check_id} at {one.account_key.partition('/')[2]}"
    console.note(f"{what}: {said}; write the pages anew with `sigaudit audit`")


def _row(one: SetAside, today: date) -> dict[str, str]:
    return {
        "finding_id": one.finding_id, "account": one.account_key.partition("/")[2], "check": one.check_id,
        "subject": one.subject, "severity": one.severity, "until": str(one.until), "by": one.by_name,
        "reason": one.reason, "state": "expired" if one.until < today else "in force",
    }  # fmt: skip
