"""Everything the page of an account shows, for any account: also for those without a finding.

The week's run keeps evidence only of accounts that it speaks of. The others are measured again here, by the same
queries over the same coverage and incidents, so that both kinds of page say the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.judging import audit, clocks, measures, tables
from sigaudit.judging.desk import Desk, Window
from sigaudit.judging.judge import station
from sigaudit.settings import Settings
from sigaudit.store import account_names, facts, rosters
from sigaudit.store.engine_duckdb import connect
from sigaudit.store.opening import Store
from sigaudit.store.progress import Progress, silent
from sigaudit.store.runs import Run

__all__ = ["SiteRun", "of_account"]

# The last character before any other: the range that begins with a key and ends before key + this holds that key alone.
_NEXT = " "


@dataclass(frozen=True)
class SiteRun:
    """A run as the pages of some accounts read it: the week's tables, with theirs in place.

    account_keys: the accounts of the site, the one asked for first; their page numbers are their places (from 1) among
    all accounts of the run.
    """

    run: Run
    account_keys: tuple[str, ...]
    tables: Mapping[str, pa.Table]

    @property
    def meta(self) -> dict[str, Any]:
        return self.run.meta

    def has(self, name: str) -> bool:
        return name in self.tables or self.run.has(name)

    def table(self, name: str) -> pa.Table:
        return self.tables[name] if name in self.tables else self.run.table(name)


def of_account(
    store: Store, settings: Settings, typed: str, label: str | None = None, *, progress: Progress = silent
) -> SiteRun:
    """The account typed and the others of its site, in the week ``label`` (default: the last whole one).

    Raises UsageProblem (no such account, several), and what ``audit.weekly`` raises.
    """
    run = audit.weekly(store, settings, label, progress=progress)
    accounts = run.table("accounts")
    keys = accounts["account_key"].to_pylist()
    asked = account_names.account_key(typed, keys)
    places = {key: place for place, key in enumerate(keys, start=1)}
    named = {key: site for key, site in zip(keys, accounts["site"].to_pylist(), strict=True) if site}
    others = sorted(key for key, site in named.items() if key != asked and site == named.get(asked))
    mine = (asked, *others)
    numbered = pa.array([places[key] if key in mine else None for key in keys], pa.int64())
    made = {
        "accounts": accounts.set_column(accounts.schema.get_field_index("page_no"), "page_no", numbered),
        "findings": _renumbered(run.table("findings"), {key: places[key] for key in mine}),
        **_measured(store, settings, run, mine, [places[key] for key in mine]),
    }
    return SiteRun(run, mine, made)


def _renumbered(findings: pa.Table, places: Mapping[str, int]) -> pa.Table:
    kept = findings.filter(pc.is_in(findings["account_key"], pa.array(list(places), pa.string())))
    numbers = pa.array([places[key] for key in kept["account_key"].to_pylist()], pa.int64())
    return kept.set_column(kept.schema.get_field_index("page_no"), "page_no", numbers)


def _measured(
    store: Store, settings: Settings, run: Run, keys: Sequence[str], numbers: Sequence[int]
) -> dict[str, pa.Table]:
    at = {name: datetime.fromisoformat(run.meta[f"{name}_utc"]) for name in ("from", "until", "as_of")}
    window = Window(at["from"], at["until"], at["as_of"])
    roster, _ = rosters.in_force(store, window.as_of_utc)
    cards = audit.read_cards(settings)
    with store.scratch() as temp, connect(memory_limit=settings.memory_limit, temp_dir=temp) as con:
        history = window.from_utc - timedelta(weeks=settings.history_weeks)
        facts.cut(store, con, window.from_utc, window.as_of_utc, history)
        desk = Desk(con, window)
        known = clocks.known_at(store, window.as_of_utc)
        found, shared = station(desk, roster, cards, settings, audit.spans(store), clocks=known)
        covered = shared.onto(found)
        for key in keys:
            measures.measure_range(desk, key, key + _NEXT, covered)
        desk.put("source_names", audit.source_names(store))
        asked = pa.table({"page_no": pa.array(numbers, pa.int64()), "account_key": pa.array(list(keys), pa.string())})
        return tables.pages(desk, asked, roster["visits"])
