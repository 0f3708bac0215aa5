"""Commands that help to plan: load of the receiver lines, and what another rules edition would ask."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sigaudit.door.options import Json, Workspace, app, opened
from sigaudit.errors import UsageProblem

if TYPE_CHECKING:
    from sigaudit.settings import Settings
    from sigaudit.store.opening import Store


@app.command("line-load")
def line_load(
    from_: Annotated[str, typer.Option("--from", help="Local day it begins, 2026-11-16; default: 28 days back.")] = "",
    to: Annotated[str, typer.Option("--to", help="Local day it ends before; default: the end of the log.")] = "",
    holding: Annotated[float, typer.Option("--holding", help="Mean seconds a call holds a line.")] = 30.0,
    circuits: Annotated[int, typer.Option("--circuits", help="Circuits behind each receiver line.")] = 1,
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Show how busy each receiver line is, and how often a caller finds it busy.

    Calls per hour, the busy hour, Erlang B, tests bunched on the hour, daily tests moved to six hours.

    Example: sigaudit line-load --from 2026-11-16 --holding 30
    """
    from sigaudit import console
    from sigaudit.judging import line_load as judging
    from sigaudit.judging.desk import Window

    if not 0 < holding <= 3600 or not 1 <= circuits <= 1000:
        raise UsageProblem("--holding takes 1 to 3600 seconds, --circuits 1 to 1000", next_step="see --help")
    settings, store = opened(workspace)
    end = _ready(settings, store)
    until = min(_day(to, "--to", settings), end) if to else end
    begin = _day(from_, "--from", settings) if from_ else until - timedelta(days=28)
    begin = max(begin, _first(store))
    if begin >= until:
        raise UsageProblem("the log holds nothing between these days", next_step="see: sigaudit status")
    loads, hours = judging.measure(store, settings, Window(begin, until, until), holding_s=holding, circuits=circuits)

    def local(at: datetime) -> str:
        return f"{at.replace(tzinfo=UTC).astimezone(settings.zone):%Y-%m-%d %H:%M}"

    said = judging.sentences(loads, local, holding, circuits)
    if json:
        console.document(
            "line-load",
            {"from_utc": begin, "until_utc": until, "holding_s": holding, "circuits": circuits,
             "standing": {"holding": judging.HOLDING_STANDING, "blocked": judging.BLOCKED_STANDING},
             "lines": [asdict(load) for load in loads], "hours": hours, "sentences": said},
        )  # fmt: skip
        return
    console.table([_shown(load, local) for load in loads])
    for line in said:
        console.out(line)


@app.command("what-if")
def what_if(
    edition: Annotated[str, typer.Option("--edition", help="Rules edition, such as nfpa72-2013.")],
    workspace: Workspace = None,
    json: Json = False,
) -> None:
    """Count the accounts that would need a shorter interval if an edition applied to them.

    Example: sigaudit what-if --edition nfpa72-2022
    """
    from sigaudit import console
    from sigaudit.judging import what_if as judging

    settings, store = opened(workspace)
    found = judging.measure(store, settings, edition, _ready(settings, store))
    rows, said = judging.table(found), judging.sentences(found, edition)
    shorter = [one for one in found if one.state == "shorter"]
    if json:
        accounts = [asdict(one) for one in found if one.state != "kept"]
        console.document("what-if", {"edition": edition, "table": rows, "accounts": accounts, "sentences": said})
        return
    console.table(rows)
    if shorter:
        console.table(
            [
                {"account": s.account, "site": s.site, "path": s.path, "what": s.what, "now_h": _hours(s.now_s),
                 "from": s.now_from, "would_h": _hours(s.would_s), "rule": s.rule_id}
                for s in shorter
            ]
        )  # fmt: skip
    for line in said:
        console.out(line)


def _ready(settings: Settings, store: Store) -> datetime:
    """Brings the facts up to date and answers the instant after the last signal, naive UTC."""
    from sigaudit import console
    from sigaudit.judging.audit import last_signal
    from sigaudit.store import facts, rekey

    end = last_signal(store) + timedelta(seconds=1)
    progress = console.Drawn()
    rekey.ensure(store, settings, memory_limit=settings.memory_limit, progress=progress)
    facts.build(store, memory_limit=settings.memory_limit, progress=progress)
    return end


def _first(store: Store) -> datetime:
    from sigaudit.judging.audit import first_signal

    return first_signal(store)


def _day(text: str, option: str, settings: Settings) -> datetime:
    try:
        at = datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=settings.zone)
    except ValueError:
        raise UsageProblem(f"{option} {text!r}: no such day", next_step="write it like 2026-11-16") from None
    return at.astimezone(UTC).replace(tzinfo=None)


def _shown(load: Any, local: Any) -> dict[str, Any]:
    return {
        "line": f"{load.receiver}/{load.line}", "calls/h": f"{load.calls_per_hour:.1f}",
        "busy hour": local(load.busy_utc), "calls": load.busy_calls, "erlangs": f"{load.busy_erlangs:.2f}",
        "busy": f"{load.busy_blocked:.1%}", "usually busy": f"{load.usual_blocked:.1%}",
        "tests": f"{load.test_share:.0%}", "bunched": f"minute {load.fullest_minute}" if load.bunched else "",
        "daily testers": load.daily_testers, "busy at 6 h tests": f"{load.six_hour_blocked:.1%}",
    }  # fmt: skip


def _hours(seconds: float | None) -> str:
    return "" if seconds is None else f"{seconds / 3600:.3g}"
