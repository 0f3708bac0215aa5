"""Which limit applies and who set it, as rows a person reads: for the whole station, or for one account."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pyarrow as pa

from sigaudit.judging import limits
from sigaudit.judging.audit import last_signal
from sigaudit.judging.cards import Card
from sigaudit.settings import Settings
from sigaudit.store import rosters, runs
from sigaudit.store.account_names import account_key
from sigaudit.store.engine_duckdb import connect, create, rows
from sigaudit.store.opening import Store

# Who set a limit, by its rank; the later wins.
SET_BY = {1: "card", 2: "card, by system type", 3: "station", 4: "system type", 5: "dealer", 6: "account"}
_NAMES = ("check", "limit", "value", "unit", "for", "set_by", "from", "standing", "source")
Told = dict[str, Any]


def of_station(cards: Mapping[str, Card], settings: Settings) -> list[Told]:
    """Every limit that can apply to some account, the general one first: columns check, limit, value, unit, for,
    set_by, from (card, or file and line), standing, source.

    What a wider setting of the station hides is left out. Raises SettingsProblem.
    """
    found = limits.rules(cards, settings).to_pylist()
    whole = {(r["check_id"], r["name"]) for r in found if r["rank_no"] == 3}
    typed = {(r["check_id"], r["name"], r["of"]) for r in found if r["rank_no"] == 4}

    def hidden(rule: Told) -> bool:
        name = (rule["check_id"], rule["name"])
        return rule["rank_no"] < 3 and (name in whole or (rule["rank_no"] == 2 and (*name, rule["of"]) in typed))

    kept = [rule for rule in found if not hidden(rule)]
    kept.sort(key=lambda rule: (rule["check_id"], rule["name"], rule["rank_no"], rule["of"]))
    return [_row(rule, f"{rule['scope'].replace('_', ' ')} {rule['of']}" if rule["of"] else "all") for rule in kept]


def of_account(store: Store, cards: Mapping[str, Card], settings: Settings, account: str) -> tuple[Told, list[Told]]:
    """The account as limits see it (account_key, system_type, dealer), and each limit that applies to it.

    The system type is that of the roster in force; where it does not know, that of the last audit. Raises
    UsageProblem (no such account, or several groups have it), NothingToRead, SettingsProblem.
    """
    held = rosters.in_force(store, last_signal(store))[0]["accounts"]
    known = held.select(["account_key", "account", "system_type", "dealer"]).to_pylist()
    by_key = {row["account_key"]: row for row in known}
    who = by_key[
        account_key(
            account, by_key, place="on the roster in force",
            next_step="numbers that only the log knows go by the station's limits: leave --account out",
        )
    ]  # fmt: skip
    who["system_type"] = who["system_type"] or _ranked(store, who["account_key"])
    with connect() as con:
        create(con, "limit_rules", limits.rules(cards, settings))
        create(con, "limit_subjects", pa.Table.from_pylist([who]))
        create(con, "limit_holders", con.sql(limits.HOLDERS).to_arrow_table())
        chosen = rows(
            con,
            "select check_id, name, value, unit, source, standing, set_where, rank_no, of"
            f" from ({limits.RESOLVE}) order by check_id, name",
        )
    names = ("check_id", "name", "value", "unit", "source", "standing", "set_where", "rank_no", "of")
    told = [_row(dict(zip(names, row, strict=True)), who["account_key"]) for row in chosen]
    return {name: who[name] for name in ("account_key", "system_type", "dealer")}, told


def _ranked(store: Store, account_key: str) -> str:
    """The system type that the last audit took the account for, '' without one."""
    labels = runs.labels(store)
    run = runs.latest(store, labels[-1]) if labels else None
    if run is None or "ranks_as" not in run.table("accounts").column_names:
        return ""
    held = run.table("accounts").select(["account_key", "ranks_as"]).to_pylist()
    return next((str(row["ranks_as"] or "") for row in held if row["account_key"] == account_key), "")


def _row(rule: Mapping[str, Any], whom: str) -> Told:
    by = SET_BY[rule["rank_no"]]
    values = (rule["check_id"], rule["name"], rule["value"], rule["unit"], whom, by)
    return dict(zip(_NAMES, (*values, rule["set_where"], rule["standing"], rule["source"]), strict=True))
