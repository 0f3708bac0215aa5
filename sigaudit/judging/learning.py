"""What a station's own visits teach the cause model: Beta counts over the built-in numbers.

**How often a cause is found.** The built-in base rates say which share of the visits would find a cause; that share
counts as ``SHARE_WEIGHT`` visits already made, Beta(w s, w (1-s)). Visits add to it: found here, or not. A base rate
moves by the ratio of the share after to the share before. Only visited sites teach, and sites are visited because
something fired there: what is learnt is the mix of causes, not how many sites nobody visited are sound.

**How often a check fires under a cause**: Beta(w f, w (1-f)) with w = ``FIRES_WEIGHT``, and what the last audit before
a visit that found this cause alone showed there: fired, or silent; not judged counts for neither.

Posterior mean (w m + k) / (w + n), the conjugate Beta-binomial update (Gelman et al., Bayesian Data Analysis, ch. 2;
from memory). One visit never makes certain: the weights see to it. A visit that found nothing counts fully against
causes that are there all the time and by a fifth against those that come and go; so does a fault that could not be
shown again. No access and not checked teach nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sigaudit.judging.cause_model import LEAST, MOST, Model, Number

__all__ = ["FIRES_WEIGHT", "INTERMITTENT", "SHARE_WEIGHT", "Learnt", "Line", "Visit", "learn", "visits_of"]

SHARE_WEIGHT = 50.0  # visits that the built-in mix counts as (house)
FIRES_WEIGHT = 20.0  # visits that a built-in P(fires | cause) counts as (house)
# Share of visits that find none of the causes, before any is counted (house).
OTHERWISE = 0.2
# Causes that come and go, so that a visit may well find nothing (common practice, no source).
INTERMITTENT = (
    "tone_level_marginal", "phone_line_faulty", "weak_radio_path", "power_supply_fault", "ground_fault",
    "zone_wiring_fault", "capture_card_fault",
)  # fmt: skip
LITTLE = 0.2  # what nothing found weighs against such a cause (house)
MOST_BASE = 0.5
_TEACH_NOTHING = ("no_access", "not_checked")
_NOTHING_FOUND = ("no_fault", "could_not_reproduce")
VISITS = "visits"


@dataclass(frozen=True)
class Visit:
    """One call at one account: what was found (causes or words for none), and what came of it."""

    account_key: str
    on: date
    found: tuple[str, ...]
    fixed: tuple[str, ...]


@dataclass(frozen=True)
class Line:
    """One number learnt: what it was, k of n visits (weighted), what it is. check '' = how often the cause is found."""

    cause: str
    check: str
    before: float
    weight: float
    k: float
    n: float
    after: float


@dataclass(frozen=True)
class Learnt:
    """The model after the visits, the visits themselves, and every number that moved or was looked at."""

    model: Model
    visits: tuple[Visit, ...]
    lines: tuple[Line, ...]


def posterior_mean(mean: float, weight: float, k: float, n: float) -> float:
    """Mean of a Beta prior of this mean and weight after k of n: (weight * mean + k) / (weight + n)."""
    return (weight * mean + k) / (weight + n)


def visits_of(rows: Iterable[Mapping[str, Any]], before: date) -> list[Visit]:
    """Visits on days before ``before``, in order of day and account; several rows of one day are one visit."""
    held: dict[tuple[date, str], list[Mapping[str, Any]]] = defaultdict(list)
    for row in rows:
        if row["visited_on"] < before:
            held[row["visited_on"], row["account_key"]].append(row)
    return [
        Visit(
            key, day,
            tuple(sorted({row["found"] for row in mine if row["found"]})),
            tuple(sorted({row["fixed"] for row in mine if row["fixed"]})),
        )
        for (day, key), mine in sorted(held.items())
    ]  # fmt: skip


def learn(model: Model, visits: Iterable[Visit], shown: Mapping[tuple[str, date], Mapping[str, bool]]) -> Learnt:
    """The model as these visits leave it.

    shown: (account key, day of the visit) -> check -> did it fire, by the last audit before the visit; accounts not
    in it teach nothing about checks.
    """
    visits = tuple(visits)
    ids = {cause.id for cause in model.causes}
    total = sum(cause.base.value for cause in model.causes)
    bases: dict[str, Number] = {}
    fires: dict[str, dict[str, Number]] = {}
    lines: list[Line] = []
    for cause in model.causes:
        k, n = _counted(cause.id, visits, ids)
        if n > 0:
            share = (1.0 - OTHERWISE) * cause.base.value / total
            after = posterior_mean(share, SHARE_WEIGHT, k, n)
            lines.append(Line(cause.id, "", share, SHARE_WEIGHT, k, n, after))
            bases[cause.id] = Number(min(MOST_BASE, cause.base.value * after / share), VISITS, f"{n:g} visits")
        alone = [visit for visit in visits if [f for f in visit.found if f in ids] == [cause.id]]
        for check, number in cause.fires.items():
            seen = [shown[v.account_key, v.on][check] for v in alone if check in shown.get((v.account_key, v.on), {})]
            if seen:
                after = posterior_mean(number.value, FIRES_WEIGHT, sum(seen), len(seen))
                lines.append(Line(cause.id, check, number.value, FIRES_WEIGHT, sum(seen), len(seen), after))
                held = min(MOST, max(LEAST, after))
                fires.setdefault(cause.id, {})[check] = Number(held, VISITS, f"{len(seen)} visits")
    return Learnt(model.with_numbers(bases, fires), visits, tuple(lines))


def _counted(cause: str, visits: Iterable[Visit], known: set[str]) -> tuple[float, float]:
    """(visits that found this cause, visits that could have) as weights."""
    k = n = 0.0
    for visit in visits:
        if cause in visit.found:
            k += 1.0
            n += 1.0
        elif known & set(visit.found) or "other" in visit.found:
            n += 1.0
        elif set(visit.found) & set(_NOTHING_FOUND):
            n += LITTLE if cause in INTERMITTENT or "no_fault" not in visit.found else 1.0
    return k, n
