"""Incidents away from the sites, told by what many accounts lose at once: power, telephone, a network, a storm.

Losses and what their accounts share come from ``queries/incidents``; ``judging/bursts`` says which bursts
chance does not explain. The strongest burst is taken, its losses are taken out, and the rest is scanned
again, so that one disturbance has one name. Accounts struck are members: their misses inside are excused.
"""

from __future__ import annotations

import hashlib
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from sigaudit.judging import bursts
from sigaudit.judging.bursts import Burst, Groups, Losses, Rule
from sigaudit.judging.coverage import BACKLOG_S, OPEN_EXCUSE_S, Coverage, Hole
from sigaudit.judging.desk import Desk
from sigaudit.store.shipped import query

MEMBERS = pa.schema(
    [("incident_id", pa.string()), ("kind", pa.string()), ("account_key", pa.string()), ("path", pa.string()),
     ("from_utc", pa.timestamp("us")), ("until_utc", pa.timestamp("us"))]
)  # fmt: skip
# A cause that lies nearer comes first where two groups explain a burst equally well.
_RANK = ("area", "exchange", "network", "receiver line", "path kind", "account prefix", "dealer")
_STORM = Rule(accounts=10, sites=6, ratio=3.0)
# How long before the window losses are looked at [days]; check-ins are many.
_SINCE_DAYS = {"power": 28, "phone": 28, "path": 28, "check_in": 7}
# A due time is known to some minutes only, so what lies this close to hours that the log lacks is left out (house).
_EDGE_S = 1800.0
# After so many incidents the rest is left: a log like that is not told apart by a scan.
_MOST = 100
# What a burst of one sign carries with it: a place without power loses its paths too.
_WITH = {
    "power": ("power", "phone", "path", "check_in"),
    "phone": ("phone",),
    "path": ("path", "check_in"),
    "check_in": ("path", "check_in"),
}


@dataclass(frozen=True)
class Incidents:
    """incidents: as those of log coverage, with ``shared``, ``seen``, ``members``; members: MEMBERS."""

    incidents: list[dict[str, Any]]
    members: pa.Table
    storms: list[Hole]

    def onto(self, coverage: Coverage) -> Coverage:
        """Log coverage with the storms among its holes, for the excuses of a path's lines."""
        return replace(coverage, holes=[*coverage.holes, *self.storms])


def find(desk: Desk, coverage: Coverage) -> Incidents:
    """Incidents from 28 days before the window up to ``as_of``.

    Needs the facts of everybody, the roster, ``heard_as`` and ``calendar`` under their names on the desk.
    """
    desk.put("line_holes", _unheard(coverage))
    parts = [desk.make_query(f"incidents/{n}") for n in ("10_told_losses", "20_missed_tests", "30_missed_check_ins")]
    desk.make("losses", " union all ".join(f"select * from {part}" for part in parts))
    desk.make_query("incidents/40_places")
    struck = _frame(desk, "50_struck", ["grouping_kind", "name", "sign", "from_utc", "account_key", "path"])
    places = desk.run(
        "select grouping_kind, name, count(distinct account_key) as n_accounts, count(distinct site) as n_sites"
        " from places group by grouping_kind, name"
    ).to_pandas()
    watched, as_of_s = _watched(desk, coverage), _seconds(desk.window.as_of_utc)
    found, members = _shared(struck, places, watched, as_of_s)
    talk = _frame(desk, "60_talk", ["receiver", "line", "from_utc", "account_key"])
    storms, holes = _storms(talk, members, watched["power"], as_of_s)
    desk.drop([*parts, "losses", "places", "line_holes"])
    return Incidents([*found, *storms], pa.Table.from_pylist(members, schema=MEMBERS), holes)


def _frame(desk: Desk, name: str, order: list[str]) -> pd.DataFrame:
    frame: pd.DataFrame = (
        desk.run(query(f"incidents/{name}")).to_pandas().sort_values(order, kind="stable", ignore_index=True)
    )
    epoch = pd.Timestamp(0)
    for column in ("from_utc", "until_utc"):
        if column in frame:
            frame[column.replace("utc", "s")] = (frame[column] - epoch) / pd.Timedelta(seconds=1)
    return frame


def _shared(
    struck: pd.DataFrame, places: pd.DataFrame, watched: Mapping[str, float], as_of_s: float
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Incidents of groups, the strongest first, and their members."""
    wide = places[places["n_sites"] >= Rule().sites]
    rows = struck.merge(wide, on=["grouping_kind", "name"], how="inner")
    if rows.empty:
        return [], []
    rows["place"] = _numbered(rows["grouping_kind"], rows["name"])
    rows["group"] = _numbered(rows["place"], rows["sign"])
    # One loss may stand under several groups and paths: it is one loss.
    rows["loss"] = _numbered(rows["account_key"], rows["sign"], rows["from_s"])
    rows = rows.sort_values(["group", "from_s", "account_key", "path"], ignore_index=True)
    heads = rows.groupby("group").first().to_dict("records")
    groups = Groups(
        np.array([watched[head["sign"]] for head in heads]),
        np.array([_RANK.index(head["grouping_kind"]) for head in heads], np.int64),
        np.array([head["n_accounts"] for head in heads], np.int64),
    )
    once = ~rows.duplicated(["group", "loss"]).to_numpy()
    losses, loss = _losses(rows, rows["group"]), rows["loss"].to_numpy()
    left = np.ones(len(rows), dtype=np.bool_)
    found: list[dict[str, Any]] = []
    members: list[dict[str, Any]] = []
    for _ in range(_MOST):
        burst = bursts.strongest(losses.only(left & once), groups, Rule())
        if burst is None:
            break
        head = heads[burst.group]
        inside = left & (losses.at >= burst.from_s)
        core = rows[inside & (losses.group == burst.group) & (losses.at <= burst.last_s)]
        end = _end(core, burst.last_s)
        until = min(as_of_s, burst.from_s + OPEN_EXCUSE_S) if end is None else end
        near = (rows["place"] == core["place"].iloc[0]) & rows["sign"].isin(_WITH[head["sign"]])
        inside &= near.to_numpy() & (losses.at <= until)
        entry = _entry(burst, head, end, as_of_s)
        mine = _members(rows[inside], entry, until)
        entry["members"] = len({row["account_key"] for row in mine})
        found.append(entry)
        members.extend(mine)
        left &= ~np.isin(loss, loss[inside])
    return found, members


def _end(core: pd.DataFrame, last_s: float) -> float | None:
    """When it was over [s]: most members were back; None while fewer than half are.

    Told losses: when four of five of those that came back had. Missed signals: at the first that came again,
    since a sparse one shows its return late.
    """
    told = core[core["is_told"] == 1].drop_duplicates("account_key")
    if 2 * len(told) >= core["account_key"].nunique():
        back = told["until_s"].dropna()
        if 2 * len(back) < len(told):
            return None
        return max(last_s, float(np.quantile(back, 0.8, method="higher")))
    again = core["until_s"].dropna()
    again = again[again > last_s]
    return float(again.min()) if len(again) else None


def _members(rows: pd.DataFrame, entry: dict[str, Any], until_s: float) -> list[dict[str, Any]]:
    """Members with the path that was struck ('' = the account), each once."""
    power = entry["kind"] == "area_power_outage"
    keys = sorted({(key, "" if power else path) for key, path in zip(rows["account_key"], rows["path"], strict=True)})
    span = {"from_utc": _instant(entry["from_s"]), "until_utc": _instant(until_s)}
    told = {"incident_id": entry["incident_id"], "kind": entry["kind"]}
    return [{**told, "account_key": key, "path": path, **span} for key, path in keys]


def _entry(burst: Burst, head: Mapping[Hashable, Any], end: float | None, as_of_s: float) -> dict[str, Any]:
    grouping, name, sign = head["grouping_kind"], head["name"], head["sign"]
    name = name.removeprefix("main/") if grouping == "account prefix" else name
    if sign == "power":
        kind, lost = "area_power_outage", "reported mains power lost"
    elif grouping == "receiver line":
        kind, lost = "receiver_line_outage", "lost their way to this line, which went on hearing others"
    elif sign == "phone" and grouping not in ("network", "path kind"):
        kind, lost = "area_phone_outage", "lost their telephone line or missed a test by telephone"
    else:
        kind, lost = "path_network_outage", "lost this path or missed a test or check-in on it"
    minutes = max(1, round((burst.last_s - burst.from_s) / 60))
    within = f"{minutes} min" if minutes < 120 else f"{minutes / 60:.0f} h"
    why = (
        f"{burst.accounts} of {head['n_accounts']} accounts that share {grouping} {name} {lost} within {within};"
        f" {burst.expected:.2g} were to be expected by the group's own other days."
    )
    receiver, _, line = name.partition("/") if grouping == "receiver line" else ("", "", "")
    return _told(kind, f"{grouping} {name}", receiver, line, burst, end, as_of_s, why)


def _storms(
    talk: pd.DataFrame, members: list[dict[str, Any]], watched_s: float, as_of_s: float
) -> tuple[list[dict[str, Any]], list[Hole]]:
    """Times at which far more accounts than usual reported something, on one line or on all, not explained yet."""
    if talk.empty:
        return [], []
    talk = talk[~_explained(talk, members)]
    every = talk.drop_duplicates(["account_key", "from_s"]).assign(receiver="", line="")
    rows = pd.concat([talk, every], ignore_index=True)
    rows["group"] = _numbered(rows["receiver"], rows["line"])
    rows = rows.sort_values(["group", "from_s", "account_key"], ignore_index=True)
    firsts = rows.drop_duplicates(["group", "account_key"]).groupby("group")
    heads = firsts.agg(receiver=("receiver", "first"), line=("line", "first"), n=("site", "size")).to_dict("records")
    sizes = np.array([head["n"] for head in heads], np.int64)
    groups = Groups(np.full(len(heads), watched_s), np.zeros(len(heads), np.int64), sizes)
    losses, left = _losses(rows, rows["group"]), np.ones(len(rows), dtype=np.bool_)
    lines = [(str(h["receiver"]), str(h["line"])) for h in heads if h["receiver"] or h["line"]]
    storms: list[dict[str, Any]] = []
    holes: list[Hole] = []
    for _ in range(_MOST):
        burst = bursts.strongest(losses.only(left), groups, _STORM)
        if burst is None:
            break
        receiver, line = str(heads[burst.group]["receiver"]), str(heads[burst.group]["line"])
        where = f"receiver line {receiver}/{line}" if receiver or line else "all receiver lines"
        why = (
            f"{burst.accounts} accounts reported something new on {where} within"
            f" {max(1, round((burst.last_s - burst.from_s) / 60))} min; {burst.expected:.2g} were to be expected."
        )
        entry = _told("signal_storm", where, receiver, line, burst, burst.last_s, as_of_s, why)
        entry["members"] = burst.accounts
        storms.append(entry)
        struck = [(receiver, line)] if receiver or line else lines
        holes += [Hole(r, ln, burst.from_s, burst.last_s, "signal_storm", entry["incident_id"]) for r, ln in struck]
        left &= (losses.at < burst.from_s) | (losses.at > burst.last_s)
    return storms, holes


def _explained(talk: pd.DataFrame, members: list[dict[str, Any]]) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """What accounts report inside an incident of theirs is that incident."""
    if not members:
        return np.zeros(len(talk), dtype=np.bool_)
    spans = pd.DataFrame(members).drop_duplicates(["incident_id", "account_key"])
    joined = talk.reset_index().merge(spans, on="account_key", suffixes=("", "_there"))
    hit = joined[(joined["from_utc"] >= joined["from_utc_there"]) & (joined["from_utc"] <= joined["until_utc"])]
    return talk.index.isin(hit["index"])


def _numbered(*columns: pd.Series) -> bursts.Ints:
    """A number for each distinct row of some columns."""
    code = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        values, names = column.factorize()
        _, code = np.unique(code * max(len(names), 1) + values, return_inverse=True)
    return code


def _losses(rows: pd.DataFrame, group: pd.Series) -> Losses:
    return Losses(
        group.to_numpy(np.int64),
        rows["account_key"].factorize()[0].astype(np.int64),
        rows["site"].factorize()[0].astype(np.int64),
        rows["from_s"].to_numpy(np.float64),
        rows["local_s"].to_numpy(np.float64),
    )


def _told(
    kind: str, shared: str, receiver: str, line: str, burst: Burst, end: float | None, as_of_s: float, why: str
) -> dict[str, Any]:
    text = f"{kind}|{shared}|{burst.from_s:.0f}"
    return {
        "incident_id": "I-" + hashlib.sha256(text.encode()).hexdigest()[:8], "kind": kind, "receiver": receiver,
        "line": line, "shared": shared, "from_s": burst.from_s, "until_s": as_of_s if end is None else end,
        "is_open": end is None, "expected": burst.expected, "seen": burst.accounts, "p": burst.p, "why": why,
    }  # fmt: skip


def _unheard(coverage: Coverage) -> pa.Table:
    """Hours that the log lacks, by line, with the backlog that follows an outage."""
    holes = coverage.holes
    longer = [_EDGE_S if h.kind == "export_gap" else BACKLOG_S for h in holes]
    return pa.table(
        {
            "receiver": pa.array([h.receiver for h in holes], pa.string()),
            "line": pa.array([h.line for h in holes], pa.string()),
            "from_utc": _instants(h.from_s - _EDGE_S for h in holes),
            "until_utc": _instants(h.until_s + more for h, more in zip(holes, longer, strict=True)),
        }
    )


def _watched(desk: Desk, coverage: Coverage) -> dict[str, float]:
    """How long losses of each sign were looked at [s]."""
    begins = min((a for spans in coverage.spans.values() for a, _ in spans), default=0.0)
    from_s, as_of_s = _seconds(desk.window.from_utc), _seconds(desk.window.as_of_utc)
    return {
        sign: max(as_of_s - max(begins, from_s - days * bursts.DAY_S), bursts.DAY_S)
        for sign, days in _SINCE_DAYS.items()
    }


def _instants(seconds: Iterable[float]) -> pa.Array:
    return pa.array([_instant(at) for at in seconds], pa.timestamp("us"))


def _instant(at_s: float) -> datetime:
    return datetime(1970, 1, 1) + timedelta(seconds=round(at_s, 6))


def _seconds(at: datetime) -> float:
    return (at - datetime(1970, 1, 1)).total_seconds()
