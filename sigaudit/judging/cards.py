"""Check cards: what a check asks, its limits with their sources, and what to do about a finding.

A check is two files side by side, ``<id>.sql`` and ``<id>.toml``. The list of built-in checks is the
folder; a station adds its own by dropping the pair into its ``checks/``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite
from pathlib import Path
from string import Formatter
from typing import Any

from sigaudit.errors import CheckFaulty
from sigaudit.settings_lines import key_lines

SEVERITIES = ("critical", "major", "minor", "note")
ACTIONS = ("desk", "remote", "visit", "none")
STANDINGS = ("standard", "handbook", "common practice", "house", "memory")
SCOPES = ("account", "station")
DAILY = ("never", "always", "life", "aggravated")
EVIDENCE = ("signals", "tests", "check_ins", "episodes", "on_test", "roster")

_TEXTS = ("id", "title", "question", "not_proof", "needs", "sentence", "next_step", "since")
_LISTS = ("bad_history", "good_history", "look_alikes", "cautions", "causes")
# What a card's sentence may name, in braces.
_NAMES = ("measured", "limit", "since", "until", "last_good", "subject", "k", "n")
_KEYS = {*_TEXTS, *_LISTS, "scope", "action", "evidence", "severity", "limits", "finest_s", "daily"}


@dataclass(frozen=True)
class Limit:
    """One number a check compares with: its start value, unit, source and standing.

    ``by_type`` holds other start values for some system types.
    """

    name: str
    default: float
    unit: str
    source: str
    standing: str
    by_type: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Card:
    """A check: card and query. ``sql_file`` and ``card_file`` name it in error messages.

    finest_s: it needs times at least so fine [s], 0 = any; where the log is coarser it is not judged.
    daily: whether its findings stand on the daily list: 'never', 'always', 'life' (fire, medical and hold-up
    accounts) or 'aggravated' (its aggravated rows).
    """

    id: str
    title: str
    question: str
    not_proof: str
    needs: str
    scope: str
    sentence: str
    action: str
    evidence: str
    next_step: str
    since: str
    bad_history: tuple[str, ...]
    good_history: tuple[str, ...]
    look_alikes: tuple[str, ...]
    cautions: tuple[str, ...]
    causes: tuple[str, ...]
    severity: Mapping[str, str]
    limits: Mapping[str, Limit]
    sql: str
    sql_file: Path
    card_file: Path
    own: bool = False
    finest_s: float = 0.0
    daily: str = "never"

    def severity_for(self, system_type: str, *, aggravated: bool = False) -> str:
        """Severity by system type; ``aggravated`` rows take ``aggravated``, or that of the type, if it is worse."""
        found = self.severity.get(system_type, self.severity["default"])
        if aggravated and "aggravated" in self.severity:
            worse = self.severity.get(f"aggravated_{system_type}", self.severity["aggravated"])
            found = min(found, worse, key=SEVERITIES.index)
        return found


@dataclass(frozen=True)
class _Place:
    """A card file and the line of each of its keys, for messages."""

    path: Path
    lines: Mapping[tuple[str, ...], int]

    def of(self, *keys: str) -> str:
        line = next((self.lines[keys[:n]] for n in range(len(keys), 0, -1) if keys[:n] in self.lines), 0)
        return f"{self.path}, line {line}" if line else str(self.path)


def read_all(*folders: Path) -> dict[str, Card]:
    """Cards by id, sorted by id: the shipped folder first, then the station's own.

    Raises CheckFaulty for the first pair that is wrong, with file and key.
    """
    cards: dict[str, Card] = {}
    for number, folder in enumerate(folders):
        if not folder.is_dir():
            continue
        for path in sorted(folder.glob("*.toml")):
            card = read(path, own=number > 0)
            if card.id in cards:
                raise CheckFaulty(
                    f"{path}: the id {card.id!r} is already that of {cards[card.id].card_file.name}",
                    next_step="give the station's own check another name",
                )
            cards[card.id] = card
        for path in sorted(folder.glob("*.sql")):
            if path.stem not in cards:
                raise CheckFaulty(f"{path}: no card beside it", next_step=f"add {path.stem}.toml or remove the query")
    return dict(sorted(cards.items()))


def read(path: Path, *, own: bool = False) -> Card:
    """One card and its query. Raises CheckFaulty with file, line and key."""
    text = _text(path)
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise CheckFaulty(f"{path}: cannot be read as TOML: {error}", next_step="mend the card") from error
    at = _Place(path, key_lines(text))
    sql_file = path.with_suffix(".sql")
    if not sql_file.is_file():
        raise CheckFaulty(f"{path}: no query beside it", next_step=f"add {sql_file.name} or remove the card")
    _known_keys(raw, at)
    if raw["id"] != path.stem:
        said = f"id {raw['id']!r} differs from the file's name"
        raise CheckFaulty(f"{at.of('id')}: {said}", next_step="make them equal")
    told: dict[str, Any] = {key: str(raw[key]) for key in _TEXTS}
    told |= {key: tuple(str(item) for item in raw[key]) for key in _LISTS}
    _sentence(told["sentence"], at)
    limits = raw.get("limits", {})
    if not isinstance(limits, dict):
        raise CheckFaulty(f"{at.of('limits')}: limits must be a table", next_step="write [limits.NAME] above each")
    return Card(
        **told,
        scope=_one_of(raw, "scope", SCOPES, at),
        action=_one_of(raw, "action", ACTIONS, at),
        evidence=_one_of(raw, "evidence", EVIDENCE, at),
        severity=_severity(raw["severity"], at),
        limits={name: _limit(name, value, at) for name, value in limits.items()},
        sql=_text(sql_file),
        sql_file=sql_file,
        card_file=path,
        own=own,
        finest_s=_finest(raw.get("finest_s", 0), at),
        daily=_one_of({"daily": "never", **raw}, "daily", DAILY, at),
    )


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise CheckFaulty(f"{path}: byte {error.start} is no UTF-8", next_step="save the file as UTF-8") from error
    except OSError as error:
        said = f"{path}: cannot be read: {error.strerror}"
        raise CheckFaulty(said, next_step="make it a file you may read") from error


def _known_keys(raw: Mapping[str, Any], at: _Place) -> None:
    missing = [key for key in (*_TEXTS, *_LISTS, "scope", "action", "evidence", "severity") if key not in raw]
    unknown = sorted(set(raw) - _KEYS)
    if missing or unknown:
        told = [f"missing: {', '.join(missing)}"] * bool(missing) + [f"unknown: {', '.join(unknown)}"] * bool(unknown)
        where = at.of(unknown[0]) if unknown else str(at.path)
        raise CheckFaulty(f"{where}: {'; '.join(told)}", next_step="a shipped card shows every key")
    for key in _LISTS:
        if not isinstance(raw[key], list):
            raise CheckFaulty(f"{at.of(key)}: {key} must be a list", next_step="write it in square brackets")


def _sentence(text: str, at: _Place) -> None:
    """A sentence names in braces what a row holds, and nothing else."""
    try:
        parts = [(name, form, turn) for _, name, form, turn in Formatter().parse(text) if name is not None]
    except ValueError as error:
        raise CheckFaulty(f"{at.of('sentence')}: sentence: {error}", next_step="write a brace twice: {{ }}") from error
    odd = next((name for name, form, turn in parts if name not in _NAMES or form or turn), None)
    if odd is not None:
        raise CheckFaulty(f"{at.of('sentence')}: sentence names {{{odd}}}", next_step=f"one of: {', '.join(_NAMES)}")


def _one_of(raw: Mapping[str, Any], key: str, allowed: tuple[str, ...], at: _Place) -> str:
    if raw[key] not in allowed:
        raise CheckFaulty(f"{at.of(key)}: {key} = {raw[key]!r}", next_step=f"one of: {', '.join(allowed)}")
    return str(raw[key])


def _finest(raw: object, at: _Place) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float) or raw < 0:
        said = f"finest_s = {raw!r} is no number"
        raise CheckFaulty(f"{at.of('finest_s')}: {said}", next_step="give seconds from 0 on, 0 = any")
    return float(raw)


def _severity(raw: object, at: _Place) -> dict[str, str]:
    if not isinstance(raw, dict) or "default" not in raw or any(v not in SEVERITIES for v in raw.values()):
        raise CheckFaulty(
            f"{at.of('severity')}: [severity] needs default and, where wanted, system types or aggravated",
            next_step=f"each one of: {', '.join(SEVERITIES)}",
        )
    return {str(k): str(v) for k, v in raw.items()}


def _limit(name: str, raw: object, at: _Place) -> Limit:
    where = at.of("limits", name)
    wanted = {"default", "unit", "source", "standing"}
    if not isinstance(raw, dict) or not wanted <= set(raw) or raw["standing"] not in STANDINGS:
        raise CheckFaulty(
            f"{where}: limit {name!r} needs default, unit, source and standing",
            next_step=f"standing is one of: {', '.join(STANDINGS)}",
        )
    by_type = raw.get("by_type", {})
    if not isinstance(by_type, dict):
        raise CheckFaulty(f"{where}: by_type of limit {name!r} is no table", next_step="by_type = { fire = 1 }")
    numbers = [raw["default"], *by_type.values()]
    if not all(isinstance(n, int | float) and not isinstance(n, bool) and isfinite(n) for n in numbers):
        raise CheckFaulty(f"{where}: limit {name!r} is not a number", next_step="give a number in the stated unit")
    return Limit(
        name,
        float(raw["default"]),
        str(raw["unit"]),
        str(raw["source"]),
        str(raw["standing"]),
        {str(k): float(v) for k, v in by_type.items()},
    )
