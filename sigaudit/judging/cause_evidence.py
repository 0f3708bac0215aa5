"""What speaks for and against causes at each account: checks that fired, were silent, or were not judged.

A unit is a rostered account with a finding, with the stray number that is probably its own; or a stray number of
nobody. A stray that fits several accounts is divided among them: its link probabilities never sum to more than one.

A check *fires* at an account with a finding on any subject; it is *silent* where it was judged and has none, and at a
rostered account of which it ran and has nothing to say (checks write no row where nothing of their kind is there);
it is *not judged* where all its rows say so, and then counts neither for nor against. The model's numbers are
meant so: P(fires) among the sites at which it is not unjudged.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from sigaudit.judging.causes import FIRES, LEFT_OUT, SILENT
from sigaudit.judging.checks import confidence
from sigaudit.model import subject_parts

__all__ = ["LINKING", "Evidence", "Unit", "from_tables", "gather", "traits_of"]

# Checks whose findings name another number, as subject ``peer=``.
LINKING = ("account_near_miss", "one_account_two_sites", "two_accounts_one_site")
# P(the stray is this account's) by the confidence of the check that links them (house, no source).
LINK = {"strong": 0.9, "likely": 0.7, "possible": 0.4}
_CODES = {"finding": FIRES, "sound": SILENT, "not_judged": LEFT_OUT}
_WORDS = {FIRES: "fires", SILENT: "silent", LEFT_OUT: "not judged"}
_STATES = {word: code for code, word in _WORDS.items()}
_TEXT, _REAL = pa.string(), pa.float64()
EVIDENCE = pa.schema([(n, _TEXT) for n in ("account_key", "check", "state", "reason", "stray_key")])
UNITS = pa.schema(
    [
        ("account_key", _TEXT),
        ("has", _TEXT),
        ("has_not", _TEXT),
        ("stray_key", _TEXT),
        ("link", _REAL),
        ("rivals", _TEXT),
    ]
)


@dataclass(frozen=True)
class Unit:
    """One account: traits it has and has not, the stray number linked to it, and who else that number fits.

    link: probability that the stray is this account's, 0 without one; rivals: account keys.
    """

    key: str
    has: frozenset[str]
    has_not: frozenset[str]
    stray: str = ""
    link: float = 0.0
    rivals: tuple[str, ...] = ()


@dataclass(frozen=True)
class Evidence:
    """Units in order of key, and the state of each check there: own[key][check], stray[key][check] (fired ones).

    active: checks that ran; one of them without a row is silent at a rostered account, left out at a stray number.
    """

    active: frozenset[str]
    units: tuple[Unit, ...]
    own: Mapping[str, Mapping[str, int]]
    stray: Mapping[str, Mapping[str, int]]
    reasons: Mapping[tuple[str, str], str]

    def states(self, checks: Collection[str]) -> tuple[NDArray[np.int8], NDArray[np.int8], NDArray[np.float64]]:
        """Own states (N, K), states with the stray's (N, K), link probabilities (N,); K in the order of ``checks``."""
        column = {check: i for i, check in enumerate(checks)}
        own = np.full((len(self.units), len(column)), LEFT_OUT, dtype=np.int8)
        ran = [column[check] for check in self.active if check in column]
        for row, unit in enumerate(self.units):
            if "on_roster" in unit.has:
                own[row, ran] = SILENT
            for check, state in self.own.get(unit.key, {}).items():
                if check in column:
                    own[row, column[check]] = state
        joined = own.copy()
        for row, unit in enumerate(self.units):
            for check in self.stray.get(unit.key, {}):
                if check in column:
                    joined[row, column[check]] = FIRES
        return own, joined, np.array([unit.link for unit in self.units], dtype=np.float64)

    def of_one(self, place: int) -> Evidence:
        """The same for one unit alone."""
        return replace(self, units=(self.units[place],))

    def tables(self) -> dict[str, pa.Table]:
        """The same as run tables ``cause_evidence`` and ``cause_units``."""
        told = [
            {"account_key": unit.key, "check": check, "state": _WORDS[state],
             "reason": self.reasons.get((unit.key, check), ""), "stray_key": stray}
            for unit in self.units
            for stray, states in (("", self.own.get(unit.key, {})), (unit.stray, self.stray.get(unit.key, {})))
            for check, state in sorted(states.items())
        ]  # fmt: skip
        units = [
            {"account_key": u.key, "has": " ".join(sorted(u.has)), "has_not": " ".join(sorted(u.has_not)),
             "stray_key": u.stray, "link": u.link, "rivals": " ".join(u.rivals)}
            for u in self.units
        ]  # fmt: skip
        return {
            "cause_evidence": pa.Table.from_pylist(told, schema=EVIDENCE),
            "cause_units": pa.Table.from_pylist(units, schema=UNITS),
        }


def from_tables(evidence: pa.Table, units: pa.Table, active: Collection[str]) -> Evidence:
    """The evidence of a saved run, to be reckoned again; active: the checks that ran."""
    own: dict[str, dict[str, int]] = defaultdict(dict)
    stray: dict[str, dict[str, int]] = defaultdict(dict)
    reasons = {}
    for row in evidence.to_pylist():
        (stray if row["stray_key"] else own)[row["account_key"]][row["check"]] = _STATES[row["state"]]
        if row["reason"]:
            reasons[row["account_key"], row["check"]] = row["reason"]
    held = tuple(
        Unit(u["account_key"], frozenset(u["has"].split()), frozenset(u["has_not"].split()), u["stray_key"], u["link"],
             tuple(u["rivals"].split(" ")) if u["rivals"] else ())
        for u in units.to_pylist()
    )  # fmt: skip
    return Evidence(frozenset(active), held, own, stray, reasons)


def gather(
    rows: pa.Table, active: Collection[str], rostered: Collection[str],
    traits: Mapping[str, tuple[frozenset[str], frozenset[str]]],
) -> Evidence:  # fmt: skip
    """Evidence of every account with a finding, from the verdict rows of a run.

    active: checks that ran; rostered: keys on the roster; traits: by key, those it has and those it has not.
    """
    rostered = frozenset(rostered)
    found = rows.filter(pc.equal(rows["verdict"], "finding"))
    linking = _links(found, rostered)
    shares = _shared_out(linking)
    best = {key: max(strays.items(), key=lambda item: (item[1], item[0])) for key, strays in shares.items()}
    fits = defaultdict(set)
    for key, strays in shares.items():
        for stray in strays:
            fits[stray].add(key)
    with_finding = {key for key in found["account_key"].to_pylist() if not key.endswith("/")}
    keys = sorted((with_finding - set(fits)) | set(best))
    units = tuple(
        Unit(key, *traits.get(key, (frozenset(), frozenset())), *best.get(key, ("", 0.0)),
             tuple(sorted(fits[best[key][0]] - {key})) if key in best else ())
        for key in keys
    )  # fmt: skip
    own, reasons = _own(rows, {*keys, *fits}, rostered)
    fired: dict[str, dict[str, int]] = {}
    for unit in units:
        if unit.stray:
            said = {check: FIRES for check, state in own.get(unit.stray, {}).items() if state == FIRES}
            fired[unit.key] = {**said, **dict.fromkeys(linking[unit.key, unit.stray][1], FIRES)}
    return Evidence(frozenset(active), units, {key: dict(own.get(key, {})) for key in keys}, fired, reasons)


def _links(found: pa.Table, rostered: Collection[str]) -> dict[tuple[str, str], tuple[float, set[str]]]:
    """(rostered key, stray key) -> probability by the surest check, and the checks that link them."""
    named = found.filter(pc.is_in(found["check_id"], pa.array(LINKING, pa.string())))
    linked: dict[tuple[str, str], tuple[float, set[str]]] = {}
    for row, sure in zip(named.to_pylist(), confidence(named), strict=True):
        peer = subject_parts(row["subject"]).get("peer", "")
        pair = (row["account_key"], peer) if row["account_key"] in rostered else (peer, row["account_key"])
        if peer and pair[0] in rostered and pair[1] not in rostered:
            chance, checks = linked.get(pair, (0.0, set()))
            linked[pair] = (max(chance, LINK[sure]), checks | {row["check_id"]})
    return linked


def _shared_out(linked: Mapping[tuple[str, str], tuple[float, set[str]]]) -> dict[str, dict[str, float]]:
    """Rostered key -> stray -> probability; a stray's probabilities sum to one at most."""
    totals: dict[str, float] = defaultdict(float)
    for (_, stray), (chance, _) in linked.items():
        totals[stray] += chance
    shares: dict[str, dict[str, float]] = defaultdict(dict)
    for (key, stray), (chance, _) in sorted(linked.items()):
        shares[key][stray] = chance / max(1.0, totals[stray])
    return shares


def _own(
    rows: pa.Table, keys: Collection[str], rostered: Collection[str]
) -> tuple[dict[str, dict[str, int]], dict[tuple[str, str], str]]:
    """States by key and check: it fires if it does on any subject, is silent if it was judged on any.

    A finding that only links a stray number counts with the stray's evidence; one that names two rostered accounts
    counts at both.
    """
    states: dict[str, dict[str, int]] = defaultdict(dict)
    reasons: dict[tuple[str, str], str] = {}

    def put(key: str, check: str, state: int) -> None:
        states[key][check] = max(state, states[key].get(check, LEFT_OUT))

    wanted = pa.array(sorted(keys), pa.string())
    linking = pc.is_in(rows["check_id"], pa.array(LINKING, pa.string()))
    for row in rows.filter(linking).select(["account_key", "check_id", "subject", "verdict"]).to_pylist():
        peer, state = subject_parts(row["subject"]).get("peer", ""), _CODES[row["verdict"]]
        both = (row["account_key"] in rostered) == (peer in rostered)
        if state == FIRES and peer and not both:
            continue
        put(row["account_key"], row["check_id"], state)
        if state == FIRES and peer in rostered:
            put(peer, row["check_id"], state)
    mine = rows.filter(pc.and_(pc.invert(linking), pc.is_in(rows["account_key"], wanted)))
    columns = (mine[name].to_pylist() for name in ("account_key", "check_id", "verdict", "reason"))
    for key, check, verdict, reason in zip(*columns, strict=True):
        put(key, check, _CODES[verdict])
        if verdict == "not_judged":
            reasons.setdefault((key, check), reason)
    return states, reasons


def traits_of(
    accounts: Iterable[Mapping[str, Any]], paths: Iterable[Mapping[str, Any]], required: Iterable[tuple[str, str]],
    ranks: Mapping[str, str],
) -> dict[str, tuple[frozenset[str], frozenset[str]]]:  # fmt: skip
    """Account key -> traits it has, traits it has not; one in neither is not known, and rules nothing out.

    accounts, paths: rows of the roster; required: (account key, ``test`` or ``supervision``) of the intervals in
    force; ranks: system type that an account ranks as.
    """
    by_account: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for path in paths:
        by_account[path["account_key"]].append(path)
    needs = set(required)
    found = {}
    for account in accounts:
        key = account["account_key"]
        mine = by_account.get(key, [])
        kinds = {path["kind"] for path in mine}
        told: dict[str, bool | None] = {"on_roster": True}
        if mine and "" not in kinds:
            told["phone"] = "phone" in kinds
            told["two_phone_lines"] = sum(path["kind"] == "phone" for path in mine) > 1
            if all(path["role"] for path in mine):
                told["backup_not_phone"] = any(p["role"] == "backup" and p["kind"] != "phone" for p in mine)
            told["radio"] = bool(kinds & {"radio", "one_way_radio"})
            told["internet_or_cellular"] = bool(kinds & {"internet", "cellular", "satellite"})
        if mine:
            told["two_paths"] = len(mine) > 1
            told["supervised"] = (key, "supervision") in needs or any(path["checks_in"] == "yes" for path in mine)
            told["tests_required"] = (key, "test") in needs
        for trait, column in (("contacts", "has_contacts"), ("openings", "sends_openings")):
            told[trait] = {"yes": True, "no": False}.get(account[column])
        # A captured dialer needs a box that captures it: without one, and with a telephone line alone, there is none.
        if account["panel_account"] or account["has_contacts"] == "yes":
            told["captured"] = True
        elif mine and kinds == {"phone"}:
            told["captured"] = False
        kind = ranks.get(key, "") or account["system_type"]
        if kind:
            told["fire"] = kind in ("fire", "combined")
            told["burglary"] = kind in ("burglary", "combined", "holdup")
        found[key] = (
            frozenset(trait for trait, holds in told.items() if holds),
            frozenset(trait for trait, holds in told.items() if holds is False),
        )
    return found
