"""The stage of an audit that names causes: the model with what visits taught, evidence, diagnosis, run tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pyarrow as pa

from sigaudit.errors import StoreProblem
from sigaudit.judging import cards as card_files
from sigaudit.judging import cause_evidence, cause_model, diagnose, learning
from sigaudit.judging.cards import Card
from sigaudit.judging.cause_evidence import Evidence
from sigaudit.judging.cause_model import Model, Reading
from sigaudit.judging.desk import Desk
from sigaudit.judging.diagnose import Diagnosis
from sigaudit.judging.learning import Learnt, Visit
from sigaudit.settings import Settings
from sigaudit.store import rosters, runs, shipped
from sigaudit.store.opening import Store
from sigaudit.store.runs import Run

__all__ = [
    "active_of", "again", "before_visit", "evidence_of", "first_day_unknown", "learnt_from", "read_model", "tables",
]  # fmt: skip


def read_model(cards: Iterable[str]) -> Reading | None:
    """The shipped cause model; None where there is none. Raises CheckFaulty."""
    return cause_model.read(shipped.queries(), cards)


def tables(
    desk: Desk, rows: pa.Table, found: pa.Table, roster: Mapping[str, pa.Table],
    accounts: Mapping[str, Mapping[str, Any]], cards: Mapping[str, Card], says: Mapping[str, str],
    earlier: Sequence[Run], zone: ZoneInfo,
) -> tuple[pa.Table, dict[str, pa.Table]]:  # fmt: skip
    """Findings with their causes, and the run tables ``causes``, ``cause_evidence``, ``cause_units``.

    rows: all verdict rows; accounts: rows of queries/report/accounts by key; says: what the station says of checks
    (``off``); earlier: the runs of the weeks before, from which visits learn what checks showed.
    """
    empty = Evidence(frozenset(), (), {}, {}, {})
    reading = read_model(cards)
    if reading is None:
        return found, {"causes": diagnose.SCHEMA.empty_table(), **empty.tables()}
    told = learnt_from(reading.model, roster["visits"], earlier, desk.window.as_of_utc, zone)
    rostered = frozenset(roster["accounts"]["account_key"].to_pylist())
    required = [(row[0], row[1]) for row in desk.rows("select distinct account_key, what from kept_requirements")]
    traits = cause_evidence.traits_of(
        roster["accounts"].to_pylist(), roster["paths"].to_pylist(), required,
        {key: row["ranks_as"] for key, row in accounts.items()},
    )  # fmt: skip
    strangers = (frozenset[str](), frozenset(("on_roster",)))
    for key in accounts:
        traits.setdefault(key, strangers)
    active = [check for check in cards if says.get(check) != "off"]
    evidence = cause_evidence.gather(rows, active, rostered, traits)
    made = diagnose.diagnose(evidence, told.model, cards, accounts)
    return diagnose.fill(found, made), {"causes": made.table, **evidence.tables()}


def learnt_from(model: Model, visits: pa.Table, earlier: Sequence[Run], as_of: datetime, zone: ZoneInfo) -> Learnt:
    """The model after the visits known at ``as_of``; what checks showed comes from the runs of earlier weeks."""
    known = learning.visits_of(visits.to_pylist(), first_day_unknown(as_of, zone))
    return learning.learn(model, known, _shown(known, earlier, zone))


def again(store: Store, settings: Settings, run: Run, *, reference: bool = False) -> tuple[Diagnosis, Learnt]:
    """The causes of a saved run reckoned once more, and what visits taught until then.

    reference: with the built-in numbers alone, neither measured ones nor visits. Raises CheckFaulty; StoreProblem for
    a run of a time before causes were named.
    """
    cards = card_files.read_all(shipped.queries() / "checks", settings.checks_dir)
    reading = read_model(cards)
    if reading is None or not run.has("cause_units"):
        raise StoreProblem(f"the audit of {run.meta['label']} names no causes", next_step="judge that week again")
    accounts = {row["account_key"]: row for row in run.table("accounts").to_pylist()}
    told = Learnt(reading.reference, (), ())
    if not reference:
        as_of = datetime.fromisoformat(run.meta["as_of_utc"])
        held = (runs.latest(store, label) for label in reversed(run.meta["previous"]))
        visits = rosters.in_force(store, as_of)[0]["visits"]
        earlier = [one for one in held if one is not None]
        told = learnt_from(reading.model, visits, earlier, as_of, settings.zone)
    return diagnose.diagnose(evidence_of(run), told.model, cards, accounts), told


def first_day_unknown(as_of: datetime, zone: ZoneInfo) -> date:
    """The local day in which ``as_of`` lies: a visit on it may have been later, and teaches nothing yet."""
    return as_of.replace(tzinfo=UTC).astimezone(zone).date()


def evidence_of(run: Run) -> Evidence:
    """The evidence of a saved run."""
    return cause_evidence.from_tables(run.table("cause_evidence"), run.table("cause_units"), active_of(run))


def active_of(run: Run) -> frozenset[str]:
    """Checks that ran in an audit."""
    return frozenset(check["id"] for check in run.meta["checks"] if check["state"] != "off")


def before_visit(visit: Visit, runs: Iterable[Run], zone: ZoneInfo) -> Run | None:
    """The last of these runs that speaks for a time before the day of a visit."""
    ended = [(run.meta["as_of_utc"], run) for run in runs if run.has("cause_units") and _last_day(run, zone) < visit.on]
    return max(ended, key=lambda item: item[0])[1] if ended else None


def _last_day(run: Run, zone: ZoneInfo) -> date:
    """The last local day a run speaks for; a week that ends at midnight ends the day before."""
    as_of = datetime.fromisoformat(run.meta["as_of_utc"])
    return first_day_unknown(as_of.replace(microsecond=0) - datetime.resolution, zone)


def _shown(visits: Iterable[Visit], earlier: Sequence[Run], zone: ZoneInfo) -> dict[tuple[str, date], dict[str, bool]]:
    """(account, day of visit) -> check -> did it fire, by the last of the earlier runs before the visit."""
    held: dict[str, tuple[Evidence, dict[str, int]]] = {}
    found: dict[tuple[str, date], dict[str, bool]] = {}
    for visit in visits:
        run = before_visit(visit, earlier, zone)
        if run is None:
            continue
        if run.run_id not in held:
            evidence = evidence_of(run)
            held[run.run_id] = (evidence, {unit.key: place for place, unit in enumerate(evidence.units)})
        evidence, places = held[run.run_id]
        if visit.account_key in places:
            checks = sorted(evidence.active)
            own, joined, link = evidence.of_one(places[visit.account_key]).states(checks)
            states = (joined if link[0] >= 0.5 else own)[0]
            found[visit.account_key, visit.on] = {
                check: bool(state) for check, state in zip(checks, states.tolist(), strict=True) if state >= 0
            }
    return found
