"""Causes of each account in words: ranked, what speaks for and against, the rival, and what would tell them apart."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from sigaudit.judging.cards import Card
from sigaudit.judging.cause_evidence import Evidence, Unit
from sigaudit.judging.cause_model import Cause, Model
from sigaudit.judging.causes import FIRES, LEFT_OUT, Factors, expected_change, posterior, space

__all__ = ["FLOOR", "SCHEMA", "Diagnosis", "diagnose", "fill", "grouped", "word"]

# Below this no cause is named: too many others are as good (house, no source).
FLOOR = 0.2
# A cause that the log cannot tell from a likelier one is named beside it, unless it is twenty times rarer (house).
PAIR_SHARE = 0.05
# Causes kept per account, and the least worth keeping.
MOST_KEPT, LEAST_KEPT = 8, 0.01
_TELLS = 1.5  # a factor below this, and above its inverse, is not worth a word
_MOST_WORDS = 5
_WORDED = 3  # ranks told in words
_LEAST_CHANGE = 0.02
UNCLEAR = "unclear"

_TEXT, _REAL = pa.string(), pa.float64()
SCHEMA = pa.schema(
    [(name, _TEXT) for name in ("account_key", "account", "receiver_group", "site", "dealer", "installer",
                                "system_type")]
    + [("rank", pa.int64()), ("cause", _TEXT), ("title", _TEXT), ("probability", _REAL), ("pair", _TEXT),
       ("entry_probability", _REAL), ("confidence", _TEXT), ("shown", pa.bool_())]
    + [(name, _TEXT) for name in ("action", "sits", "says", "evidence_for", "evidence_against", "rival")]
    + [("rival_probability", _REAL)]
    + [(name, _TEXT) for name in ("apart", "next_observation", "field_check", "fix", "parts", "cautions", "standing")]
    + [("none_probability", _REAL), ("stray_key", _TEXT), ("link", _REAL), ("rival_key", _TEXT), ("stray_note", _TEXT)]
)  # fmt: skip


@dataclass(frozen=True)
class Diagnosis:
    """What one reckoning came to: rows of SCHEMA, and the posterior (N, H) behind them."""

    rows: list[dict[str, Any]]
    evidence: Evidence
    model: Model
    given: NDArray[np.float64]

    @property
    def table(self) -> pa.Table:
        """The rows as the run table ``causes``."""
        return pa.Table.from_pylist(self.rows, schema=SCHEMA)


def word(probability: float) -> str:
    """strong from 0.8, likely from 0.5, possible from the floor, unclear below (house)."""
    steps = ((0.8, "strong"), (0.5, "likely"), (FLOOR, "possible"))
    return next((name for least, name in steps if probability >= least), UNCLEAR)


def diagnose(
    evidence: Evidence, model: Model, cards: Mapping[str, Card], accounts: Mapping[str, Mapping[str, Any]]
) -> Diagnosis:
    """Ranked causes of every unit. accounts: by key, with account, receiver_group, site, dealer and so on."""
    found = space(model)
    factors = Factors(found)
    own, joined, link = evidence.states(model.checks)
    barred = np.array(
        [[bool(set(cause.where) & unit.has_not) for cause in model.causes] for unit in evidence.units], dtype=np.bool_
    ).reshape(len(evidence.units), len(model.causes))
    given = posterior(found, own, ~barred, joined, link, factors)
    each = given @ found.members
    rows: list[dict[str, Any]] = []
    for place, unit in enumerate(evidence.units):
        states = joined[place] if unit.link >= 0.5 else own[place]
        telling = _Telling(factors, evidence, cards, unit, states, given[place])
        about = _about(unit, accounts)
        rows.extend({**_blank(), **about, **row} for row in _entries(telling, each[place]))
    return Diagnosis(rows, evidence, model, given)


def fill(found: pa.Table, diagnosis: Diagnosis) -> pa.Table:
    """Findings with cause, cause_probability and next_step: of the first named cause that makes such a check fire.

    A finding on a stray number gets the cause of the account it is most probably of. Where the account is unclear,
    so is the cause; where no cause of the model makes the check fire, there is none. Where a cause is at least
    likely, its field check comes before the check's own next step.
    """
    named: dict[str, list[dict[str, Any]]] = {}
    for row in diagnosis.rows:
        named.setdefault(row["account_key"], []).append(row)
    owner: dict[str, tuple[float, str]] = {}
    for unit in diagnosis.evidence.units:
        if unit.stray:
            owner[unit.stray] = max(owner.get(unit.stray, (0.0, "")), (unit.link, unit.key))
    makes = {cause.id: set(cause.fires) for cause in diagnosis.model.causes}
    known = set().union(*makes.values()) if makes else set()
    columns: dict[str, list[Any]] = {"cause": [], "cause_probability": [], "next_step": []}
    for finding in found.select(["account_key", "check", "next_step"]).to_pylist():
        key = finding["account_key"]
        rows = named.get(owner[key][1] if key in owner else key, [])
        shown = [row for row in rows if row["shown"]]
        first = next((row for row in shown if finding["check"] in makes[row["cause"]]), None)
        cause, chance, step = "", None, finding["next_step"]
        if first is not None:
            cause, chance = " or ".join([first["cause"], *first["pair"].split()]), first["entry_probability"]
            if first["confidence"] in ("strong", "likely"):
                step = f"{first['field_check']} Then: {step}"
        elif rows and not shown and finding["check"] in known:
            cause = UNCLEAR
        columns["cause"].append(cause)
        columns["cause_probability"].append(chance)
        columns["next_step"].append(step)
    for name, values in columns.items():
        place = found.schema.get_field_index(name)
        found = found.set_column(place, name, pa.array(values, found.schema.field(name).type))
    return found


@dataclass(frozen=True)
class _Telling:
    """One unit's evidence in words."""

    factors: Factors
    evidence: Evidence
    cards: Mapping[str, Card]
    unit: Unit
    states: NDArray[np.int8]
    given: NDArray[np.float64]

    @property
    def model(self) -> Model:
        return self.factors.space.model

    def title(self, check: str) -> str:
        return self.cards[check].title if check in self.cards else check

    @cached_property
    def seen(self) -> tuple[list[tuple[int, int | None]], NDArray[np.float64]]:
        """Observations judged here as (place of the chain, check that fires first), and how many times as likely each
        is under each cause alone as under none: (n, C)."""
        found, ratios = [], []
        for place, (_, columns) in enumerate(self.factors.space.chains):
            picture = self.states[columns]
            if (picture != LEFT_OUT).any():
                fired = np.flatnonzero(picture == FIRES)
                found.append((place, int(columns[fired[0]]) if len(fired) else None))
                ratios.append(self.factors.ratio(place, picture.tobytes()))
        return found, np.stack(ratios) if ratios else np.empty((0, len(self.model.causes)))

    def sides(self, cause: int) -> tuple[list[str], list[str]]:
        """Observations for and against a cause, the most telling first: how many times as likely as under none."""
        favour: list[tuple[float, str]] = []
        against: list[tuple[float, str]] = []
        seen, ratios = self.seen
        for (place, fired), ratio in zip(seen, ratios[:, cause].tolist(), strict=True):
            if fired is not None and ratio >= _TELLS:
                favour.append((ratio, f"{self.title(self.model.checks[fired])} ({_times(ratio)})"))
            elif fired is not None:
                told = f"{self.title(self.model.checks[fired])} is not explained by it"
                against.append((0.5 / max(ratio, 0.01), told))
            elif ratio <= 1 / _TELLS:
                columns = self.factors.space.chains[place][1]
                judged = [int(c) for c in columns if self.states[c] != LEFT_OUT]
                telling = max(judged, key=lambda c: self.factors.space.rates[1 + cause, c])
                against.append((1 / ratio, f"no finding: {self.title(self.model.checks[telling])} ({_times(ratio)})"))
        return _first(favour), _first(against)

    def next_observation(self, cause: int) -> str:
        """The check not judged here whose answer would change the probability most, or ''."""
        for check, change, fires, silent in expected_change(self.factors, self.given, self.states, cause)[:1]:
            if change >= _LEAST_CHANGE:
                name = self.model.checks[check]
                why = self.evidence.reasons.get((self.unit.key, name), "")
                return (
                    f"{self.title(name)}: not judged here{f' ({why})' if why else ''};"
                    f" {fires:.0%} if it is found, {silent:.0%} if it is not"
                )
        return ""


def _entries(telling: _Telling, each: NDArray[np.float64]) -> Iterator[dict[str, Any]]:
    """Rows of one unit: a cause with those the log cannot tell from it share one rank."""
    space = telling.factors.space
    entries = list(grouped(telling.model.causes, each))
    chances = [float(telling.given[space.members[:, group].any(axis=1)].sum()) for group in entries]
    order = sorted(range(len(entries)), key=lambda i: (-chances[i], entries[i]))
    none = float(telling.given[0])
    common = {
        "none_probability": none, "stray_key": telling.unit.stray, "link": telling.unit.link or None,
        "rival_key": telling.unit.rivals[0] if telling.unit.rivals else "", "stray_note": _stray(telling.unit),
    }  # fmt: skip
    if chances[order[0]] < FLOOR:
        yield {**common, "rank": 0, "cause": UNCLEAR, "title": "Unclear", "confidence": UNCLEAR,
               "shown": False, "action": "none"}  # fmt: skip
    for rank, i in enumerate(order[:MOST_KEPT], start=1):
        group, chance = entries[i], chances[i]
        if chance < LEAST_KEPT:
            break
        shown = chance >= FLOOR
        rival = next((j for j in order if j != i), None) if shown else None
        for member in group:
            cause = telling.model.causes[member]
            favour, against = telling.sides(member) if shown or rank <= _WORDED else ([], [])
            yield {
                **common, "rank": rank, "cause": cause.id, "title": cause.title, "probability": float(each[member]),
                "pair": " ".join(telling.model.causes[other].id for other in group if other != member),
                "entry_probability": chance, "confidence": word(chance), "shown": shown, "action": cause.action,
                "sits": cause.sits, "says": cause.says, "evidence_for": " | ".join(favour),
                "evidence_against": " | ".join(against),
                "rival": "" if rival is None else telling.model.causes[entries[rival][0]].id,
                "rival_probability": None if rival is None else chances[rival],
                "apart": _apart(telling.model, member, group, [] if rival is None else entries[rival]),
                "next_observation": telling.next_observation(member) if shown else "",
                "field_check": cause.field_check, "fix": cause.fix, "parts": " | ".join(cause.parts),
                "cautions": " ".join(cause.cautions), "standing": _standing(telling.model, cause),
            }  # fmt: skip


def grouped(causes: Sequence[Cause], each: NDArray[np.float64]) -> Iterator[list[int]]:
    """Causes by falling probability, each with its partners that are not much rarer."""
    left = sorted(range(len(causes)), key=lambda i: (-each[i], i))
    while left:
        first, *left = left
        group = [
            first,
            *(i for i in left if causes[i].id in causes[first].pair and each[i] >= PAIR_SHARE * each[first]),
        ]
        left = [i for i in left if i not in group]
        yield group


def _apart(model: Model, member: int, group: Sequence[int], rivals: Sequence[int]) -> str:
    """What tells a cause from its partners and from its rival, by the model's own words."""
    told = []
    cause = model.causes[member]
    for i in (*group, *rivals):
        other = model.causes[i]
        said = (cause.apart or {}).get(other.id) or (other.apart or {}).get(cause.id)
        if i != member and said:
            told.append(f"{other.title}: {said}")
    return " | ".join(told)


def _standing(model: Model, cause: Cause) -> str:
    held = {cause.base.standing, *(number.standing for number in cause.fires.values())}
    return "; ".join(text for name, text in model.standings.items() if name in held)


def _stray(unit: Unit) -> str:
    """Where the number stands, by keys that stand in columns of the row too: a copy for sharing can mask them."""
    if not unit.stray:
        return ""
    told = f"the number {unit.stray} is probably this account's ({unit.link:.0%})"
    if not unit.rivals:
        return told
    more = f" and {len(unit.rivals) - 1} more" if len(unit.rivals) > 1 else ""
    return f"{told}; it may also be that of {unit.rivals[0]}{more}, and is counted once"


def _about(unit: Unit, accounts: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    account = accounts.get(unit.key, {})
    group, _, number = unit.key.partition("/")
    names = ("site", "dealer", "installer", "system_type")
    return {
        "account_key": unit.key, "account": account.get("account", number),
        "receiver_group": account.get("receiver_group", group), **{name: account.get(name, "") for name in names},
    }  # fmt: skip


def _blank() -> dict[str, Any]:
    return {field.name: "" if field.type == _TEXT else None for field in SCHEMA}


def _first(told: list[tuple[float, str]]) -> list[str]:
    return [text for _, text in sorted(told, key=lambda one: (-one[0], one[1]))[:_MOST_WORDS]]


def _times(ratio: float) -> str:
    return f"{ratio:.0f} times as likely" if ratio >= 9.5 else f"{ratio:.2g} times as likely"
