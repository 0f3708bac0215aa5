"""A calendar month for the health reports: judged as it stood at its end, with what the whole month held.

A month is a run like a week's: made of facts cut at ``as_of``, saved under a fingerprint of all it was made from,
found again by it. What stands at its end is judged over its last seven days, for the limits of the checks are meant
for a week; days, tests, paths and troubles are counted over the month itself (``judging/month``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

import pyarrow as pa

from sigaudit.judging import audit, clocks, findings, limits, month, tables, windows
from sigaudit.judging.cards import Card
from sigaudit.judging.desk import Desk, Window
from sigaudit.judging.judge import judge
from sigaudit.settings import Settings
from sigaudit.store import facts, rekey, rosters, runs
from sigaudit.store.engine_duckdb import connect
from sigaudit.store.opening import Store
from sigaudit.store.progress import Progress, silent
from sigaudit.store.runs import Run


@dataclass(frozen=True)
class Months:
    """A month's run, and those it is compared with where the log held reaches them."""

    run: Run
    month_before: Run | None
    year_before: Run | None


def monthly(store: Store, settings: Settings, label: str | None = None, *, progress: Progress = silent) -> Months:
    """The run of a calendar month ``YYYY-MM``, judged now or found; default: the last whole month held.

    Raises NothingToRead (empty store), UsageProblem (no such month, no roster), SettingsProblem, CheckFaulty,
    StoreBusy.
    """
    first, last = audit.first_signal(store), audit.last_signal(store)
    label = (label or windows.last_whole_month(settings.zone, first, last)).strip()
    rosters.in_force(store, windows.month(label, settings.zone, first, last).as_of_utc)
    cards = audit.read_cards(settings)
    rekey.ensure(store, settings, memory_limit=settings.memory_limit, progress=progress)
    facts.build(store, memory_limit=settings.memory_limit, progress=progress)
    earlier = [windows.month_before(label), windows.month_before(label, 12)]
    before, year_before = (
        _judged(store, settings, past, cards, progress) if windows.month_ends(past, settings.zone) > first else None
        for past in earlier
    )
    return Months(_judged(store, settings, label, cards, progress), before, year_before)


def _judged(store: Store, settings: Settings, label: str, cards: Mapping[str, Card], progress: Progress) -> Run:
    whole = windows.month(label, settings.zone, audit.first_signal(store), audit.last_signal(store))
    window = windows.last_days(whole, settings.zone)
    roster, version = rosters.in_force(store, window.as_of_utc)
    inputs = audit.fingerprint(store, settings, cards, window, roster)
    run_id = f"{label}-{inputs}"
    found = runs.load(store, run_id)
    if found is not None:
        return found
    with store.scratch() as temp, connect(memory_limit=settings.memory_limit, temp_dir=temp) as con:
        history = whole.from_utc - timedelta(weeks=settings.history_weeks)
        facts.cut(store, con, window.from_utc, window.as_of_utc, history)
        desk = Desk(con, window, also=month.ALSO)
        made = _tables(store, settings, label, cards, desk, whole, roster, progress)
        meta = audit.meta_of(store, settings, label, cards, whole, version, [])
    meta |= {"inputs": inputs, "kind": "month", "judged_from_utc": window.from_utc.isoformat()}
    with store.writing(f"saving the month {label}", wait_s=10):
        return runs.save(store, run_id, meta, made)


def _tables(
    store: Store, settings: Settings, label: str, cards: Mapping[str, Card], desk: Desk, whole: Window,
    roster: Mapping[str, pa.Table], progress: Progress,
) -> dict[str, pa.Table]:  # fmt: skip
    month.prepare(desk, whole, settings)
    known = clocks.known_at(store, whole.as_of_utc)
    judged = judge(desk, roster, cards, settings, audit.spans(store), progress=progress, clocks=known)
    accounts = tables.accounts(desk)
    ranks = {row["account_key"]: row for row in accounts.to_pylist()}
    says = limits.severities(cards, settings)
    compared = audit.limits_compared(desk, judged.rows)
    found = findings.compose(judged.rows, cards, ranks, compared, says, label, settings.zone, [])
    return {
        "findings": found,
        "verdicts": tables.verdicts(judged.rows),
        "accounts": accounts,
        "incidents": tables.incidents(desk, judged),
        "unprotected": tables.unprotected(desk),
        "dealers": roster["dealers"],
        **month.tables(desk, judged, whole, settings),
    }
