"""One audit in fixed stages: facts, coverage, measures, checks, findings, status against earlier weeks.

The same store, roster, settings and program give the same run, whichever audits were made before: the
weeks compared with are judged here if they were not.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.errors import NothingToRead
from sigaudit.judging import cards as card_files
from sigaudit.judging import cause_stage, clocks, findings, limits, meeting, repair, tables, urgent, windows
from sigaudit.judging.cards import Card
from sigaudit.judging.desk import Desk, Window
from sigaudit.judging.judge import SourceSpan, judge
from sigaudit.settings import SettingEntry, Settings
from sigaudit.store import facts, rekey, rosters, runs, shipped
from sigaudit.store.engine_duckdb import connect
from sigaudit.store.opening import Store
from sigaudit.store.progress import Progress, silent
from sigaudit.store.relations import relation
from sigaudit.store.runs import Run
from sigaudit.version import VERSION


def weekly(store: Store, settings: Settings, label: str | None = None, *, progress: Progress = silent) -> Run:
    """The run of one ISO week, judged now or found as it was; default: the last whole week held.

    Raises NothingToRead (empty store), UsageProblem (no such week, no roster), SettingsProblem,
    CheckFaulty, StoreBusy.
    """
    first, last = first_signal(store), last_signal(store)
    label = label or windows.last_whole_week(settings.zone, first, last)
    # What cannot be done is said before anything is built.
    rosters.in_force(store, windows.week(label, settings.zone, first, last).as_of_utc)
    cards = read_cards(settings)
    rekey.ensure(store, settings, memory_limit=settings.memory_limit, progress=progress)
    facts.build(store, memory_limit=settings.memory_limit, progress=progress)
    earlier: list[Run] = []
    for past in reversed(windows.before(label, settings.compare_weeks)):
        if windows.ends(past, settings.zone) > first:
            earlier.append(_judged(store, settings, past, cards, list(reversed(earlier)), progress, pages=False))
    return _judged(store, settings, label, cards, list(reversed(earlier)), progress, pages=True)


def daily(store: Store, settings: Settings, label: str | None = None, *, progress: Progress = silent) -> Run:
    """The run of one local day with only what cannot wait; default: the last whole day held.

    A finding is continuing if the audit of the week before has it too, where that was made. Raises as ``weekly``.
    """
    first, last = first_signal(store), last_signal(store)
    label = label or windows.last_whole_day(settings.zone, last)
    rosters.in_force(store, windows.day(label, settings.zone, first, last).as_of_utc)
    cards = read_cards(settings)  # all of them: measures go by limits that stand on other checks' cards
    rekey.ensure(store, settings, memory_limit=settings.memory_limit, progress=progress)
    facts.build(store, memory_limit=settings.memory_limit, progress=progress)
    before = runs.latest(store, windows.week_before(label))
    return _judged(store, settings, label, cards, [before] if before else [], progress, pages=True, kind="day")


def first_signal(store: Store) -> datetime:
    """When the first signal held was received. Raises NothingToRead."""
    last_signal(store)
    return min(source.first_utc for source in store.catalog.sources() if source.first_utc)


def last_signal(store: Store) -> datetime:
    """When the last signal held was received. Raises NothingToRead."""
    found = [source.last_utc for source in store.catalog.sources() if source.last_utc]
    if not found:
        raise NothingToRead(f"{store.root}: no signals held", next_step="take in an export: sigaudit ingest FILE")
    return max(found)


def spans(store: Store) -> list[SourceSpan]:
    """What each source speaks for: (source id, receiver, line, first, last signal of the whole source)."""
    edges = {s.source_id: (s.first_utc, s.last_utc) for s in store.catalog.sources() if s.first_utc and s.last_utc}
    return [
        (line.source_id, line.receiver, line.line, *edges[line.source_id])
        for line in store.catalog.source_lines()
        if line.source_id in edges
    ]


def read_cards(settings: Settings) -> dict[str, Card]:
    """Built-in checks and the station's own, by id."""
    return card_files.read_all(shipped.queries() / "checks", settings.checks_dir)


def _judged(
    store: Store, settings: Settings, label: str, cards: Mapping[str, Card], earlier: list[Run],
    progress: Progress, *, pages: bool, kind: str = "week",
) -> Run:  # fmt: skip
    """A run of a label with these earlier ones behind it, the latest first."""
    span = windows.day if kind == "day" else windows.week
    window = span(label, settings.zone, first_signal(store), last_signal(store))
    roster, version = rosters.in_force(store, window.as_of_utc)
    inputs = fingerprint(store, settings, cards, window, roster)
    held = runs.latest(store, label)
    if held is not None and held.meta.get("inputs") == inputs and not pages:
        return held  # its findings are the same, whichever weeks it was compared with
    run_id = f"{label}-{_with_earlier(inputs, earlier)}"
    found = runs.load(store, run_id)
    if found is not None and (found.has("evidence") or not pages):
        return found
    # A run whose evidence can be walked is never replaced by one without.
    pages = pages or (held is not None and held.has("evidence"))
    with store.scratch() as temp, connect(memory_limit=settings.memory_limit, temp_dir=temp) as con:
        history = window.from_utc - timedelta(weeks=settings.history_weeks)
        facts.cut(store, con, window.from_utc, window.as_of_utc, history)
        desk = Desk(con, window)
        made = _tables(store, settings, label, cards, earlier, desk, roster, progress, pages=pages, kind=kind)
        meta = {**meta_of(store, settings, label, cards, window, version, earlier), "inputs": inputs, "kind": kind}
    with store.writing(f"saving the audit of {label}", wait_s=10):
        return runs.save(store, run_id, meta, made)


def _tables(
    store: Store, settings: Settings, label: str, cards: Mapping[str, Card], earlier: list[Run], desk: Desk,
    roster: Mapping[str, pa.Table], progress: Progress, *, pages: bool, kind: str,
) -> dict[str, pa.Table]:  # fmt: skip
    known = clocks.known_at(store, desk.window.as_of_utc)
    judged = judge(desk, roster, cards, settings, spans(store), progress=progress, clocks=known)
    accounts = tables.accounts(desk)
    ranks = {row["account_key"]: row for row in accounts.to_pylist()}
    single = tables.first_misses(desk, judged.rows)
    rows = judged.rows
    if kind == "day":
        judged = replace(judged, rows=urgent.only(judged.rows, cards, ranks))
    says = limits.severities(cards, settings)
    found = findings.compose(
        judged.rows,
        cards,
        ranks,
        limits_compared(desk, judged.rows),
        says,
        label,
        settings.zone,
        [set(run.table("findings")["finding_id"].to_pylist()) for run in earlier],
    )
    found, caused = cause_stage.tables(desk, rows, found, roster, ranks, cards, says, earlier, settings.zone)
    unprotected = tables.unprotected(desk)
    incidents = tables.incidents(desk, judged)
    now = set(found["finding_id"].to_pylist())
    gone = findings.resolved(judged.rows, earlier[0].table("findings") if earlier else None, now)
    told = tables.figures(desk, judged, found, len(unprotected), len(incidents), single)
    made = {
        "findings": found,
        "verdicts": tables.verdicts(judged.rows),
        "accounts": _with_pages(accounts, found),
        "incidents": incidents,
        "incident_members": judged.incidents.members,
        "unprotected": unprotected,
        "first_misses": single,
        "weighed": findings.weighed(judged.weighed, found),
        "figures": told,
        "weeks": meeting.weeks(desk, label, found, told, gone, earlier),
        "stragglers": meeting.stragglers(desk, found, incidents),
        "resolved": gone,
        **caused,
    }
    if pages:
        desk.put("source_names", source_names(store))
        made |= {
            "coverage": tables.covered_hours(desk, judged),
            "tests_by_day": tables.tests_by_day(desk),
            "requirements": tables.requirements(desk),
            "quality": tables.quality(desk, relation(store, "rejects"), _seen(store, desk.window)),
            "signals_to_see": repair.signals_to_see(found, roster),
            **tables.pages(desk, found, roster["visits"]),
        }
    return made


def limits_compared(desk: Desk, verdicts: pa.Table) -> dict[tuple[str, str], dict[float, dict[str, Any]]]:
    """Limits behind findings by account and check, then by value: its words name the one that was compared."""
    told = verdicts.filter(pc.equal(verdicts["verdict"], "finding")).select(["account_key", "check_id"])
    desk.put("told", told.group_by(["account_key", "check_id"]).aggregate([]))
    rows = desk.rows(
        "select l.account_key, l.check_id, l.value, l.source, l.standing, l.set_where from kept_limits as l"
        " inner join told as t on l.account_key = t.account_key and l.check_id = t.check_id"
        " order by l.account_key, l.check_id, l.name"
    )
    found: dict[tuple[str, str], dict[float, dict[str, Any]]] = {}
    for account, check, value, source, standing, where in rows:
        told = {"source": source, "standing": standing, "set_where": where}
        found.setdefault((account, check), {}).setdefault(value, told)
    return found


def _with_pages(accounts: pa.Table, found: pa.Table) -> pa.Table:
    pages = dict(zip(found["account_key"].to_pylist(), found["page_no"].to_pylist(), strict=True))
    numbers = pa.array([pages.get(key) for key in accounts["account_key"].to_pylist()], pa.int64())
    return accounts.append_column("page_no", numbers)


def source_names(store: Store) -> pa.Table:
    """Every source by its number."""
    sources = store.catalog.sources()
    return pa.table(
        {
            "source_id": pa.array([s.source_id for s in sources], pa.int64()),
            "name": pa.array([s.name for s in sources], pa.string()),
        }
    )


def _seen(store: Store, window: Window) -> pa.Table:
    seen = [s for s in store.catalog.sources() if s.first_utc is None or s.first_utc < window.as_of_utc]
    return pa.table(
        {
            "source_id": pa.array([s.source_id for s in seen], pa.int64()),
            "name": pa.array([s.name for s in seen], pa.string()),
            "n_repeats": pa.array([s.n_repeats for s in seen], pa.int64()),
        }
    )


def meta_of(
    store: Store, settings: Settings, label: str, cards: Mapping[str, Card], window: Window,
    version: rosters.RosterMeta, earlier: list[Run],
) -> dict[str, Any]:  # fmt: skip
    """The document of a run: what was read, by which settings, roster and checks."""
    sources = _visible(store, window)
    sums = {name: sum(s[name] for s in sources) for name in ("lines", "signals", "repeats", "rejects", "skipped")}
    return {
        "schema": 1,
        "kind": "week",
        "label": label,
        "from_utc": window.from_utc.isoformat(),
        "until_utc": window.until_utc.isoformat(),
        "as_of_utc": window.as_of_utc.isoformat(),
        "timezone": settings.timezone,
        "station": settings.station,
        "edition": settings.edition,
        "sigaudit_version": VERSION,
        "settings": [{"key": e.key, "value": _told(e.value), "where": e.where} for e in _judging(settings)],
        "roster": {
            "version": version.version,
            "valid_from": str(version.valid_from or ""),
            "files": [file.name for file in version.files],
        },
        "sources": sources,
        "sum": sums,
        "checks": tables.check_states(cards, limits.severities(cards, settings)),
        "previous": [run.meta["label"] for run in reversed(earlier)],
    }


def _visible(store: Store, window: Window) -> list[dict[str, Any]]:
    """Sources that begin before ``as_of``, by name: later ones do not exist yet for this audit."""
    return sorted(
        (
            {
                "name": s.name, "sha256": s.sha256, "bytes": s.bytes, "lines": s.lines, "signals": s.n_signals,
                "repeats": s.n_repeats, "rejects": s.n_rejects, "skipped": s.n_skipped,
                "first_utc": str(s.first_utc or ""), "last_utc": str(s.last_utc or ""), "layout": s.layout,
            }
            for s in store.catalog.sources()
            if s.first_utc is None or s.first_utc < window.as_of_utc
        ),
        key=lambda row: (str(row["name"]), str(row["sha256"])),
    )  # fmt: skip


def _judging(settings: Settings) -> list[SettingEntry]:
    """Settings that a judgement can depend on: who carries the mail is none of them."""
    return [entry for entry in settings.entries() if not entry.key.startswith("mail.")]


def _told(value: object) -> Any:
    return value if isinstance(value, str | int | float | bool) else str(value)


def fingerprint(
    store: Store, settings: Settings, cards: Mapping[str, Card], window: Window, roster: Mapping[str, pa.Table]
) -> str:
    """Twelve hex digits over all that the findings of a week are made from; only their status needs other weeks."""
    months = [month for month in store.months("signals") if month <= f"{window.as_of_utc:%Y-%m}"]
    content = {
        "version": VERSION,
        "signals": store.fingerprint("signals", months),
        "sources": _visible(store, window),
        "clocks": clocks.known_at(store, window.as_of_utc).told(),
        "settings": [(e.key, _told(e.value)) for e in _judging(settings)],
        "cards": [(c.id, c.sql, c.card_file.read_text(encoding="utf-8")) for c in cards.values()],
        "causes": getattr(cause_stage.read_model(cards), "text", ""),
        "queries": [
            path.read_text(encoding="utf-8")
            for folder in ("events", "facts", "incidents", "measures", "report")
            for path in sorted((shipped.queries() / folder).glob("*.sql"))
        ],
        "roster": {
            name: hashlib.sha256(str(table.to_pylist()).encode("utf-8")).hexdigest()
            for name, table in sorted(roster.items())
        },
        "window": [str(value) for value in vars(window).values()],
    }
    return hashlib.sha256(json.dumps(content, default=str).encode("utf-8")).hexdigest()[:12]


def _with_earlier(inputs: str, earlier: list[Run]) -> str:
    """The same with the weeks that the status of each finding comes from."""
    behind = [(run.meta["label"], run.meta["inputs"]) for run in earlier]
    return hashlib.sha256(json.dumps([inputs, behind]).encode("utf-8")).hexdigest()[:12]
