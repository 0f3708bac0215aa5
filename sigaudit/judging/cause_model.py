"""The cause model as data: what can be wrong at a site, how often, and what a log then shows.

``queries/causes.toml`` holds every number with its standing; ``queries/causes_measured.toml``, where it is
there, holds numbers measured on the simulator and wins over it. Nothing here reckons.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from sigaudit.errors import CheckFaulty
from sigaudit.judging.cause_file import CauseFile, Number
from sigaudit.known_names import did_you_mean

__all__ = ["Cause", "Model", "Number", "Reading", "read"]

MAIN, MEASURED = "causes.toml", "causes_measured.toml"
SITS = (
    "panel programming", "transmitter programming", "wiring", "phone service", "radio path", "power", "zone wiring",
    "station data entry", "people",
)  # fmt: skip
ACTIONS = ("desk", "remote", "visit", "none")
TRAITS = (
    "phone", "radio", "internet_or_cellular", "two_paths", "contacts", "captured", "supervised", "fire", "burglary",
    "openings", "tests_required", "on_roster", "two_phone_lines", "backup_not_phone",
)  # fmt: skip
# What a check's firing may be made to prove or disprove at most; a leak is a rate of false alarms and may be smaller.
LEAST, MOST, LEAST_LEAK = 0.02, 0.98, 0.0001
_TEXTS = ("id", "title", "says", "sits", "action", "field_check", "fix")
_LISTS = ("where", "pair", "parts", "cautions")
_KEYS = {*_TEXTS, *_LISTS, "base", "apart", "fires"}


@dataclass(frozen=True)
class Cause:
    """One cause: base = share of sites that have it at a time; fires = P(check fires | cause), by check."""

    id: str
    title: str
    says: str
    sits: str
    action: str
    field_check: str
    fix: str
    base: Number
    fires: Mapping[str, Number]
    where: tuple[str, ...] = ()
    pair: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    apart: Mapping[str, str] | None = None


@dataclass(frozen=True)
class Model:
    """All causes, in the order of the file; leak = P(check fires | none of them), where the check is judged.

    groups: checks that tell one fact, the most telling first. standings: what the short words mean.
    """

    causes: tuple[Cause, ...]
    leak: Mapping[str, Number]
    groups: Mapping[str, tuple[str, ...]]
    standings: Mapping[str, str]

    @cached_property
    def checks(self) -> tuple[str, ...]:
        """Checks that speak at all, in order of their observations."""
        return tuple(check for _, chain in self.observations for check in chain)

    @cached_property
    def observations(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Groups and single checks as (name, chain); each is one observation."""
        grouped = {check for chain in self.groups.values() for check in chain}
        alone = [(check, (check,)) for check in self.leak if check not in grouped]
        return (*self.groups.items(), *alone)

    def cause(self, identity: str) -> Cause:
        """The cause of an id. Raises KeyError."""
        return {cause.id: cause for cause in self.causes}[identity]

    def with_numbers(self, bases: Mapping[str, Number], fires: Mapping[str, Mapping[str, Number]]) -> Model:
        """The same with other base rates and firing rates where given, by cause (and check)."""
        return replace(
            self,
            causes=tuple(
                replace(c, base=bases.get(c.id, c.base), fires={**c.fires, **fires.get(c.id, {})}) for c in self.causes
            ),
        )


@dataclass(frozen=True)
class Reading:
    """The model in force, the one without measured numbers, and the text both were read from."""

    model: Model
    reference: Model
    text: str


def read(folder: Path, checks: Iterable[str]) -> Reading | None:
    """The model of a folder, None where it has no causes.toml.

    checks: ids of the checks there are, besides which the model may name none. Raises CheckFaulty with file and
    line: not TOML, an unknown name, a number out of range, a check without a leak.
    """
    path = folder / MAIN
    if not path.is_file():
        return None
    main = CauseFile(path)
    reference = _model(main, frozenset(checks))
    model, text = reference, main.text
    if (folder / MEASURED).is_file():
        measured = CauseFile(folder / MEASURED)
        model, text = _overlaid(reference, measured), text + measured.text
    return Reading(model, reference, text)


def _model(file: CauseFile, checks: frozenset[str]) -> Model:
    unknown = sorted(set(file.tree) - {"standings", "groups", "leak", "cause"})
    if unknown:
        raise file.fault(unknown[0], unknown[0], f"unknown table {unknown[0]!r}")
    standings = {name: str(text) for name, text in file.table("standings").items()}
    leak = {
        check: file.number(raw, check, "leak", standings, least=LEAST_LEAK, most=0.5)
        for check, raw in file.table("leak").items()
    }
    for check in leak:
        _known_check(file, check, checks, "leak")
    groups: dict[str, tuple[str, ...]] = {}
    for name, chain in file.table("groups").items():
        if not isinstance(chain, list) or not chain:
            raise file.fault(name, "groups", f"group {name} must be a list of checks")
        for check in chain:
            _known_check(file, check, checks, "groups", name)
            if check not in leak:
                raise file.fault(name, "groups", f"group {name}: {check} has no leak", "add it under [leak]")
        groups[name] = tuple(chain)
    members = [check for chain in groups.values() for check in chain]
    doubled = sorted({check for check in members if members.count(check) > 1})
    if doubled:
        where = next(name for name, chain in groups.items() if doubled[0] in chain)
        raise file.fault(where, "groups", f"{doubled[0]} stands in a group twice", "one fact, one group")
    causes = tuple(_cause(file, i, raw, standings, leak, checks) for i, raw in enumerate(file.causes()))
    if not causes:
        raise CheckFaulty(f"{file.name}: no [[cause]] in it", next_step="write each cause under its own [[cause]]")
    ids = [cause.id for cause in causes]
    again = next((place for place, name in enumerate(ids) if ids.index(name) != place), None)
    if again is not None:
        raise file.fault("id", again, f"cause {ids[again]} stands here a second time")
    for place, cause in enumerate(causes):
        for key, named in (("pair", cause.pair), ("apart", tuple(cause.apart or ()))):
            for other in named:
                if other not in ids or other == cause.id:
                    raise file.fault(key, place, f"{key} of {cause.id}: no other cause {other!r}"
                                     f"{did_you_mean(other, ids)}")  # fmt: skip
    paired = {(a.id, b) for a in causes for b in a.pair}
    both = tuple(
        replace(c, pair=tuple(other for other in ids if (c.id, other) in paired or (other, c.id) in paired))
        for c in causes
    )
    return Model(both, leak, groups, standings)


def _cause(
    file: CauseFile, place: int, raw: Mapping[str, Any], standings: Mapping[str, str], leak: Mapping[str, Number],
    checks: frozenset[str],
) -> Cause:  # fmt: skip
    missing = [key for key in (*_TEXTS, "base", "fires") if key not in raw]
    strange = sorted(set(raw) - _KEYS)
    if missing or strange:
        told = [f"missing: {', '.join(missing)}"] * bool(missing) + [f"unknown: {', '.join(strange)}"] * bool(strange)
        raise file.fault(strange[0] if strange else "id", place, f"cause {raw.get('id', '?')}: {'; '.join(told)}")
    for key in _TEXTS:
        if not isinstance(raw[key], str) or not raw[key].strip():
            raise file.fault(key, place, f"{key} must be text")
    for key, allowed in (("sits", SITS), ("action", ACTIONS)):
        if raw[key] not in allowed:
            raise file.fault(key, place, f"{key} = {raw[key]!r}", f"one of: {', '.join(allowed)}")
    lists: dict[str, Any] = {}
    for key in _LISTS:
        found = raw.get(key, [])
        if not isinstance(found, list) or not all(isinstance(item, str) for item in found):
            raise file.fault(key, place, f"{key} must be a list of texts")
        lists[key] = tuple(found)
    for trait in lists["where"]:
        if trait not in TRAITS:
            raise file.fault("where", place, f"no trait {trait!r}{did_you_mean(trait, TRAITS)}")
    apart, fires = raw.get("apart", {}), raw["fires"]
    if not isinstance(apart, dict) or not isinstance(fires, dict) or not fires:
        raise file.fault("fires", place, f"cause {raw['id']}: fires and apart must be tables, fires not empty")
    for check in fires:
        _known_check(file, check, checks, place)
        if check not in leak:
            raise file.fault(check, place, f"cause {raw['id']}: {check} has no leak", "add it under [leak]")
    return Cause(
        **{key: raw[key].strip() for key in _TEXTS},
        **lists,
        base=file.number(raw["base"], "base", place, standings, least=1e-6, most=0.5),
        fires={c: file.number(v, c, place, standings, least=LEAST, most=MOST) for c, v in fires.items()},
        apart={str(other): str(text) for other, text in apart.items()},
    )


def _known_check(file: CauseFile, check: object, checks: frozenset[str], block: int | str, key: str = "") -> None:
    if check not in checks:
        near = did_you_mean(str(check), checks)
        raise file.fault(key or str(check), block, f"no check {check!r}{near}", "`sigaudit checks` lists them")


def _overlaid(reference: Model, file: CauseFile) -> Model:
    """Measured numbers over the reference: [leak], and fires in [[cause]] or in [fires.CAUSE]."""
    standings = {**reference.standings, **{k: str(v) for k, v in file.table("standings").items()}}
    standings.setdefault("simulator", "measured on the simulator")
    leak = dict(reference.leak)
    for check, raw in file.table("leak").items():
        if check not in leak:
            raise file.fault(check, "leak", f"causes.toml has no leak of {check!r}{did_you_mean(check, leak)}")
        leak[check] = file.number(raw, check, "leak", standings, least=LEAST_LEAK, most=0.5, standing="simulator")
    ids = [cause.id for cause in reference.causes]
    given: list[tuple[str, Mapping[str, Any], int | str]] = [
        (str(raw.get("id", "")), raw.get("fires", {}), place) for place, raw in enumerate(file.causes())
    ]
    given += [(name, fires, f"fires.{name}") for name, fires in file.table("fires").items()]
    fires_of: dict[str, dict[str, Number]] = {}
    for name, fires, block in given:
        if name not in ids or not isinstance(fires, dict):
            raise file.fault("id", block, f"causes.toml has no cause {name!r}{did_you_mean(name, ids)}")
        for check in fires:
            if check not in leak:
                raise file.fault(check, block, f"causes.toml has no leak of {check!r}{did_you_mean(check, leak)}")
        fires_of[name] = {
            c: file.number(v, c, block, standings, least=LEAST, most=MOST, standing="simulator")
            for c, v in fires.items()
        }
    return replace(reference.with_numbers({}, fires_of), leak=leak, standings=standings)
