"""A finding walked back: measure, limit and its source, excuses, and the very log lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pyarrow as pa

from sigaudit.errors import UsageProblem
from sigaudit.judging.audit import read_cards
from sigaudit.judging.cards import Card
from sigaudit.judging.desk import Desk, Window
from sigaudit.model import subject_parts
from sigaudit.settings import Settings
from sigaudit.store import code_table, rosters, runs, set_asides
from sigaudit.store.engine_duckdb import connect, literal
from sigaudit.store.opening import Store
from sigaudit.store.relations import relation, signals_relation
from sigaudit.store.runs import Run
from sigaudit.store.shipped import query

# Evidence begins with the sign of life before the span, so that the reader sees what went on until then.
_LEAD = timedelta(seconds=1)


@dataclass(frozen=True)
class Explanation:
    """One finding with its card, the run it stands in, and its evidence in order of time."""

    finding: Mapping[str, Any]
    card: Card
    run: Run
    evidence: list[dict[str, Any]]
    incidents: list[dict[str, Any]]
    weighed: list[dict[str, Any]]
    decision: str = ""


def explain(store: Store, settings: Settings, finding: str) -> Explanation:
    """The finding whose id begins with ``finding``, from the latest run that has it.

    Raises UsageProblem: none begins so, or several do.
    """
    run, row = find(store, finding)
    card = read_cards(settings)[row["check"]]
    as_of = datetime.fromisoformat(run.meta["as_of_utc"])
    window = Window(datetime.fromisoformat(run.meta["from_utc"]), datetime.fromisoformat(run.meta["until_utc"]), as_of)
    with connect(memory_limit=settings.memory_limit) as con:
        desk = Desk(con, window)
        asked = _asked(store, run, row, as_of)
        keys = ", ".join(literal(key) for key in asked["heard_key"].to_pylist())
        code_table.load(con)
        desk.view("signals", f"select * from ({signals_relation(store)}) where account_key in ({keys})")
        desk.put("asked", asked)
        desk.put("slots", run.table("slots"))
        account = literal(row["account_key"])
        desk.make("due", f"select * from slots where state <> 'received' and account_key = {account}")
        evidence = desk.run(query(f"evidence/{card.evidence}")).to_pylist()
        also = _repeats(desk, store, [(e["source_id"], e["line_no"]) for e in evidence if e["source_id"] is not None])
    names = {source.source_id: source.name for source in store.catalog.sources()}
    for entry in evidence:
        entry["source"] = names.get(entry["source_id"], "")
        entry["also_in"] = [
            {"source": names.get(source, ""), "line_no": line}
            for source, line in also.get((entry["source_id"], entry["line_no"]), [])
        ]
    span = _incidents(run, row) if row["excused_count"] else []
    mark = set_asides.decided(store, run).marks.get(row["finding_id"])
    said = run.table("weighed").to_pylist() if run.has("weighed") else []
    mine = [entry for entry in said if entry["finding_id"] == row["finding_id"]]
    return Explanation(row, card, run, evidence, span, mine, mark.text if mark else "")


def find(store: Store, finding: str) -> tuple[Run, dict[str, Any]]:
    """The latest run that has a finding whose id begins so, and the finding. Raises UsageProblem."""
    wanted = finding.strip().lower()
    for label in reversed(runs.labels(store)):
        run = runs.latest(store, label)
        if run is None or not run.has("slots"):
            continue
        found = [row for row in run.table("findings").to_pylist() if row["finding_id"].startswith(wanted)]
        if len(found) > 1 and wanted:
            ids = ", ".join(row["finding_id"] for row in found[:5])
            raise UsageProblem(f"{finding!r} begins several findings: {ids}", next_step="give more of its digits")
        if len(found) == 1 and wanted:
            return run, found[0]
    raise UsageProblem(
        f"no finding begins with {finding!r} in the audits made so far",
        next_step="ids stand in the column finding_id of findings.csv; run `sigaudit audit` first",
    )


def _asked(store: Store, run: Run, row: Mapping[str, Any], as_of: datetime) -> pa.Table:
    """The account's numbers (its own, those its paths report as, the peer) with the span and what to look for."""
    paths = rosters.in_force(store, as_of)[0]["paths"].to_pylist()
    key = row["account_key"]
    subject = subject_parts(row["subject"])
    peers = [subject["peer"]] if "peer" in subject else []
    heard = sorted({key, *(p["reports_as_key"] for p in paths if p["account_key"] == key), *peers})
    required = [
        r["seconds"]
        for r in run.table("requirements").to_pylist()
        if r["account_key"] == key and r["what"] == "supervision" and subject.get("path", r["path"]) == r["path"]
    ]
    first = (row["evidence_from"] or row["since"] or as_of) - _LEAD
    last = row["evidence_until"] or as_of
    n = len(heard)
    return pa.table(
        {
            "account_key": pa.array([key] * n, pa.string()),
            "heard_key": pa.array(heard, pa.string()),
            "from_utc": pa.array([first] * n, pa.timestamp("us")),
            "until_utc": pa.array([last] * n, pa.timestamp("us")),
            "family": pa.array([subject.get("code", "")] * n, pa.string()),
            "zone": pa.array([subject.get("zone", "").rpartition("/")[2]] * n, pa.string()),
            "seconds": pa.array([min(required, default=3600.0)] * n, pa.float64()),
        }
    )


def _repeats(desk: Desk, store: Store, places: list[tuple[int, int]]) -> dict[tuple[int, int], list[tuple[int, int]]]:
    """Other places (source, line) at which the same lines stand in overlapping exports."""
    if not places:
        return {}
    desk.put(
        "places",
        pa.table(
            {
                "source_id": pa.array([p[0] for p in places], pa.int64()),
                "line_no": pa.array([p[1] for p in places], pa.int64()),
            }
        ),
    )
    desk.view("lineage", relation(store, "lineage"))
    found: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for source, line, other_source, other_line in desk.rows(
        "select p.source_id, p.line_no, o.source_id, o.line_no from places as p"
        " inner join lineage as m on p.source_id = m.source_id and p.line_no = m.line_no"
        " inner join lineage as o on m.key = o.key and m.second = o.second and o.source_id <> p.source_id order by all"
    ):
        found.setdefault((source, line), []).append((other_source, other_line))
    return found


def _incidents(run: Run, row: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Incidents over the evidence; of those that strike accounts one by one, only where this one is a member."""
    struck = run.table("incident_members").to_pylist() if run.has("incident_members") else []
    named = {member["incident_id"] for member in struck}
    mine = {member["incident_id"] for member in struck if member["account_key"] == row["account_key"]}
    found: list[dict[str, Any]] = run.table("incidents").to_pylist()
    return [i for i in found if _touches(i, row) and (i["incident_id"] not in named or i["incident_id"] in mine)]


def _touches(incident: Mapping[str, Any], row: Mapping[str, Any]) -> bool:
    until = incident["until_utc"] or datetime.max
    return bool(
        (row["evidence_from"] or datetime.min) < until
        and (row["evidence_until"] or datetime.max) > incident["from_utc"]
    )
