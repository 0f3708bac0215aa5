"""What the published rules ask for: intervals and delays by edition, kind of path and kind of system.

Two package tables. ``data/intervals.csv`` holds one row per rule, edition and kind of path; a row
without an edition holds beside any of them. ``data/editions.csv`` names the editions a station can
choose. Burglary intervals are a matter of contract or listing and stand in the roster, not here;
so are the European categories, which no roster column tells.

A rule whose ``known`` is ``memory`` has not been read in the standard or in a page quoting it: nothing
stronger than a note may rest on it until the station confirms the figure in its settings.
"""

from __future__ import annotations

import csv
import difflib
from dataclasses import dataclass
from functools import cache

from sigaudit.errors import SettingsProblem
from sigaudit.store import shipped

INTERVALS = "intervals.csv"
EDITIONS = "editions.csv"
FIRE_SYSTEMS = ("fire", "combined")  # a combined system's fire part comes under the fire rules


@dataclass(frozen=True, slots=True)
class Edition:
    """One choosable edition; ``known`` is ``seen`` or ``memory`` (nothing of its text was seen)."""

    edition: str
    title: str
    known: str


@dataclass(frozen=True, slots=True)
class Rule:
    """One figure of one document for one kind of path.

    ``edition`` is an edition id, or "" when the rule holds beside any; ``technology_kind`` a path kind of
    the roster or ``any``; ``paths`` ``one``, ``several`` or ``any``; ``quantity`` what is limited, its unit
    in the name; ``seconds`` the figure. A month is counted as 31 days.
    """

    rule_id: str
    document: str
    edition: str
    clause: str
    technology_kind: str
    paths: str
    system_type: str
    quantity: str
    seconds: int
    source: str
    known: str
    note: str


@cache
def editions() -> tuple[Edition, ...]:
    """The choosable editions, oldest first."""
    return tuple(Edition(**row) for row in _rows(EDITIONS))


def load() -> list[Rule]:
    """Every rule, in the order of the file."""
    return list(_rules())


@cache
def _rules() -> tuple[Rule, ...]:
    known = {edition.edition for edition in editions()}
    rules = []
    for row in _rows(INTERVALS):
        year = row.pop("edition")
        edition = f"nfpa72-{year}" if year else ""
        if edition and edition not in known:
            raise SettingsProblem(
                f"{INTERVALS}: rule {row['rule_id']} names edition {edition!r}, not in {EDITIONS}",
                next_step="reinstall sigaudit: its data files do not belong together",
            )
        rules.append(Rule(edition=edition, seconds=int(row.pop("seconds")), **row))
    return tuple(rules)


def rules_for(edition: str, kind: str, n_paths: int | None, system_type: str, quantity: str) -> list[Rule]:
    """The rules that speak for one path of one account; empty when none does, which is no permission.

    ``edition``: an id of ``editions.csv``, or "" for a station that judges by its roster alone (always
    empty). ``kind``: path kind of the roster. ``n_paths``: how many paths the account has, None when not
    known (then only rules that do not ask). ``system_type``: that of the roster, or ``household fire``.
    Raises SettingsProblem when the edition is not one of ours.
    """
    if not edition:
        return []
    names = [known.edition for known in editions()]
    if edition not in names:
        near = difflib.get_close_matches(edition, names, n=1, cutoff=0.0)
        raise SettingsProblem(
            f"rules edition {edition!r} is not known; the nearest known one is {near[0]}",
            next_step=f"set one of: {', '.join(names)}",
        )
    system = "fire" if system_type in FIRE_SYSTEMS else system_type
    paths = {"any"} if n_paths is None else {"any", "one" if n_paths == 1 else "several"}
    return [
        rule
        for rule in _rules()
        if rule.quantity == quantity
        and rule.edition in ("", edition)
        and rule.technology_kind in ("any", kind)
        and rule.paths in paths
        and rule.system_type == system
    ]


def _rows(name: str) -> list[dict[str, str]]:
    with (shipped.data() / name).open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))
