"""The reckoning of one account step by step, so that a person can do it again on paper (formulas: judging/causes)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sigaudit.judging.causes import FIRES, LEFT_OUT, Factors, Space, space
from sigaudit.judging.diagnose import Diagnosis

__all__ = ["Reckoning", "Step", "as_dict", "lines", "reckon"]

_SHOWN = 5
# An observation is told by itself where it moves one of the hypotheses shown against none by more than this.
_MOVES = 0.02


@dataclass(frozen=True)
class Step:
    """One observation: what was seen, its factor under each hypothesis shown, and the rates behind a group's factor.

    without: the factors as they are without the stray number's evidence, None where they are the same.
    """

    name: str
    seen: str
    factors: tuple[float, ...]
    without: tuple[float, ...] | None
    rates: Mapping[str, tuple[float, ...]]


@dataclass(frozen=True)
class Reckoning:
    """All steps for the hypotheses shown (first: none), and what the others sum to.

    weights, products, shares run over ``hypotheses``; total: over every hypothesis that nothing rules out, ``n`` in
    number. link: probability that the stray number is the account's, 0 without one.
    """

    account_key: str
    hypotheses: tuple[str, ...]
    odds: Mapping[str, float]
    weights: tuple[float, ...]
    steps: tuple[Step, ...]
    stray: str
    link: float
    with_stray: tuple[float, ...]
    without_stray: tuple[float, ...]
    products: tuple[float, ...]
    total: float
    n: int
    shares: tuple[float, ...]
    causes: Mapping[str, float]


def reckon(diagnosis: Diagnosis, key: str) -> Reckoning | None:
    """The steps that led to an account's causes; None where it was not a case of this run."""
    places = [place for place, unit in enumerate(diagnosis.evidence.units) if unit.key == key]
    if not places:
        return None
    unit, given = diagnosis.evidence.units[places[0]], diagnosis.given[places[0]]
    found = space(diagnosis.model)
    factors = Factors(found)
    own, joined, _ = diagnosis.evidence.of_one(places[0]).states(diagnosis.model.checks)
    shown = [0, *(int(row) for row in np.argsort(-given, kind="stable") if row != 0 and given[row] > 0)][: 1 + _SHOWN]
    steps = tuple(_steps(found, factors, own[0], joined[0] if unit.link else own[0], shown))
    alone, together = (np.exp(factors.logs(states)[0]) for states in (own, joined if unit.link else own))
    chance = together[0] / alone[0]
    likelihood = unit.link * together + (1.0 - unit.link) * alone * chance if unit.link else alone
    possible = given > 0
    whole = float((found.weight * likelihood)[possible].sum())
    return Reckoning(
        account_key=key,
        hypotheses=tuple(found.told(row) for row in shown),
        odds={c.id: c.base.value / (1.0 - c.base.value) for c in diagnosis.model.causes},
        weights=tuple(float(found.weight[row]) for row in shown),
        steps=steps,
        stray=unit.stray,
        link=unit.link,
        with_stray=tuple(float(together[row]) for row in shown),
        without_stray=tuple(float(alone[row] * chance) for row in shown),
        products=tuple(float(found.weight[row] * likelihood[row]) for row in shown),
        total=whole,
        n=int(possible.sum()),
        shares=tuple(float(given[row]) for row in shown),
        causes=dict(zip(found.names, (given @ found.members).tolist(), strict=True)),
    )


def _steps(
    found: Space, factors: Factors, own: NDArray[np.int8], joined: NDArray[np.int8], shown: Sequence[int]
) -> Iterator[Step]:
    for place, (name, columns) in enumerate(found.chains):
        picture, bare = joined[columns], own[columns]
        judged = [int(c) for c in columns if joined[c] != LEFT_OUT]
        if not judged:
            continue
        values = factors.group(place, picture.tobytes())[shown]
        other = None if (picture == bare).all() else factors.group(place, bare.tobytes())[shown]
        checks = found.model.checks
        fired = next((checks[c] for c in judged if joined[c] == FIRES), None)
        if len(judged) == 1:
            seen = f"{checks[judged[0]]} {'fires' if fired else 'silent'}"
        else:
            seen = f"{fired} fires first" if fired else "none fires"
        rates = {checks[c]: tuple(found.rates[shown, c].tolist()) for c in judged} if len(judged) > 1 else {}
        yield Step(name, seen, tuple(values.tolist()), None if other is None else tuple(other.tolist()), rates)


def as_dict(reckoning: Reckoning) -> dict[str, Any]:
    """The same as plain data."""
    return {**vars(reckoning), "steps": [vars(step) for step in reckoning.steps]}


def lines(reckoning: Reckoning) -> Iterator[str]:
    """The reckoning as lines of text; what moves nothing is multiplied together in one line."""
    r = reckoning
    telling = [step for step in r.steps if _tells(step)]
    rest = [step for step in r.steps if not _tells(step)]
    heads = ["none", *"ABCDEFGH"[: len(r.hypotheses) - 1]]
    width = 12
    left = max([32, *(len(f"{s.name}: {s.seen}") for s in telling)]) + 2

    def row(label: str, values: Sequence[float]) -> str:
        return f"  {label:<{left}}" + "".join(f"{_short(value):>{width}}" for value in values)

    yield f"reckoning of {r.account_key}: {r.n} hypotheses are possible; none of the causes, and the likeliest others:"
    for head, name in list(zip(heads, r.hypotheses, strict=True))[1:]:
        yield f"  {head} = {name}"
    yield f"  {'':<{left}}" + "".join(f"{head:>{width}}" for head in heads)
    yield row("prior weight: odds b/(1-b)", r.weights)
    for step in telling:
        yield row(f"{step.name}: {step.seen}" if step.rates else step.seen, step.factors)
        for check, rates in step.rates.items():
            yield row(f"  (rate of {check})", rates)
        if step.without is not None:
            yield row("  (without the stray number)", step.without)
    if rest:
        products = np.prod([step.factors for step in rest], axis=0).tolist()
        yield row(f"{len(rest)} other observations together", products)
    if r.link:
        yield row(f"all factors with {r.stray}", r.with_stray)
        yield row("all without it, times its chance", r.without_stray)
        mixed = [r.link * a + (1 - r.link) * b for a, b in zip(r.with_stray, r.without_stray, strict=True)]
        yield row(f"{r.link:.2f} * with + {1 - r.link:.2f} * without", mixed)
    yield row("weight times factors", r.products)
    yield f"  sum over all {r.n}: {_short(r.total)}; those not shown: {_short(r.total - sum(r.products))}"
    yield row("probability", r.shares)
    ranked = sorted(r.causes.items(), key=lambda item: (-item[1], item[0]))
    told = ", ".join(f"{name} {chance:.3f}" for name, chance in ranked if chance >= 0.01)
    yield f"  a cause has the sum of all that hold it: {told or 'none reaches 0.01'}"
    yield "  a group's factor: none fires: 1 - max(q); the i-th fires first: max(q) * w_i / sum(w),"
    yield "  where w_i = q_i times (1-q) of all judged checks above it, and q are the rates of the checks"


def _tells(step: Step) -> bool:
    base = step.factors[0]
    return step.without is not None or any(abs(value / base - 1.0) > _MOVES for value in step.factors)


def _short(value: float) -> str:
    return f"{value:.4g}" if 0.001 <= abs(value) < 1000 or value == 0 else f"{value:.3e}"
