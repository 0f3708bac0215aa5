"""How probable each cause is at each account, from what fired there and what did not.

**Hypotheses**: none of the causes, each cause alone, each two together. **Prior** weight of a hypothesis: the product
of the odds b/(1-b) of its causes' base rates, 1 for none; 0 where a trait of the account rules one of them out.

**One check**: ``leak`` is P(fires | none), ``fires`` is P(fires | this cause alone), both as somebody counts them at
sites. Under two causes a and b it stays silent with (1-fires_a)(1-fires_b)/(1-leak): noisy-OR with leak, in the form
in which the given numbers include the leak (Pearl 1988, Probabilistic Reasoning in Intelligent Systems, 4.3.2; Henrion
1989, on leaky gates; both from memory). The result is held within 0.02 to 0.98, save that a leak may be smaller.

**One group of checks** (checks that tell one fact, the most telling first) is one observation with as many outcomes
as it has judged checks, and one more: the first that fires, or none does. With q_1, q_2, ... of the judged checks in
order under a hypothesis:

    P(none fires)            = 1 - max(q)
    P(the i-th fires first)  = max(q) * w_i / (w_1 + w_2 + ...),   w_i = q_i * (1-q_1) * ... * (1-q_{i-1})

The outcomes sum to 1, so this is a likelihood. That nothing fires counts as the one fact it is (the strongest
check alone), not once per check; which check speaks is weighed as in a chain of independent trials; checks
below the one that speaks are silent. A group of one check is that check. Checks not judged are left out of both.

**Posterior**: prior weight times the factors of all observations (naive Bayes over observations, given the
hypothesis), over the sum of all hypotheses. P(cause) = sum over the hypotheses that hold it.

**A stray number** that is probably the account's own (probability L): the factors are
L * P(evidence with the stray's) + (1-L) * P(evidence without it) * c, where c is what the stray's evidence is worth
under no cause at all, so that under *none* both worlds weigh the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from sigaudit.judging.cause_model import LEAST, MOST, Model

__all__ = ["FIRES", "LEFT_OUT", "SILENT", "Factors", "Space", "expected_change", "factor", "posterior", "space"]

FIRES, SILENT, LEFT_OUT = 1, 0, -1
Floats = NDArray[np.float64]
States = NDArray[np.int8]
_AT_A_TIME = 1024


@dataclass(frozen=True)
class Space:
    """The hypotheses of a model. H hypotheses, C causes, K checks.

    members: bool (H, C); rates: P(check fires | hypothesis), (H, K); weight: prior weight (H,); chains: per
    observation its name and the columns of its checks.
    """

    model: Model
    names: tuple[str, ...]
    members: NDArray[np.bool_]
    rates: Floats
    weight: Floats
    chains: tuple[tuple[str, NDArray[np.int64]], ...]

    def hypothesis(self, *causes: str) -> int:
        """Row of a hypothesis by its causes; none of them: 0."""
        wanted = np.isin(self.names, causes)
        return int(np.flatnonzero((self.members == wanted).all(axis=1))[0])

    def told(self, row: int) -> str:
        """``none``, ``a`` or ``a + b``."""
        return " + ".join(np.asarray(self.names)[self.members[row]]) or "none"


def space(model: Model) -> Space:
    """The hypotheses of a model with their rates and prior weights."""
    n = len(model.causes)
    sets: list[tuple[int, ...]] = [(), *((i,) for i in range(n)), *combinations(range(n), 2)]
    members = np.zeros((len(sets), n), dtype=np.bool_)
    for row, held in enumerate(sets):
        members[row, list(held)] = True
    checks = model.checks
    leak = np.array([model.leak[check].value for check in checks])
    fires = np.tile(leak, (n, 1))
    for i, cause in enumerate(model.causes):
        for check, number in cause.fires.items():
            fires[i, checks.index(check)] = number.value
    ratio = np.log1p(-fires) - np.log1p(-leak)
    quiet = np.exp(np.log1p(-leak) + members.astype(np.float64) @ ratio)
    rates = np.clip(1.0 - quiet, np.minimum(leak, LEAST), MOST)
    base = np.array([cause.base.value for cause in model.causes])
    weight = np.exp(members.astype(np.float64) @ (np.log(base) - np.log1p(-base)))
    chains, at = [], 0
    for name, chain in model.observations:
        chains.append((name, np.arange(at, at + len(chain))))
        at += len(chain)
    return Space(model, tuple(c.id for c in model.causes), members, rates, weight, tuple(chains))


def factor(rates: Floats, states: Sequence[int]) -> Floats:
    """P(what one group shows | each hypothesis): rates (H, k) of its chain, states of its k checks.

    Formula and reason stand at the head of this file.
    """
    judged = [i for i, state in enumerate(states) if state != LEFT_OUT]
    if not judged:
        return np.ones(len(rates))
    q = rates[:, judged]
    most = q.max(axis=1)
    first = next((place for place, i in enumerate(judged) if states[i] == FIRES), None)
    if first is None:
        return np.asarray(1.0 - most)
    before = np.cumprod(np.column_stack([np.ones(len(q)), 1.0 - q[:, :-1]]), axis=1)
    chain = q * before
    return np.asarray(most * chain[:, first] / chain.sum(axis=1))


def posterior(
    space: Space, own: States, allowed: NDArray[np.bool_], with_stray: States | None = None,
    link: Floats | None = None, factors: Factors | None = None,
) -> Floats:  # fmt: skip
    """P(hypothesis | evidence), (N, H), rows sum to 1.

    own: states (N, K) of each account's own checks; allowed: (N, C), False where a trait rules a cause out;
    with_stray, link: states with a stray number's evidence, and the probability (N,) that it is the account's;
    factors: those reckoned already.
    """
    found = np.empty((len(own), len(space.weight)))
    factors = factors or Factors(space)
    joined = own if with_stray is None else with_stray
    chance = np.zeros(len(own)) if link is None else link
    for at in range(0, len(own), _AT_A_TIME):
        part = slice(at, at + _AT_A_TIME)
        alone = factors.logs(own[part])
        linked = chance[part] > 0
        if linked.any():
            together = factors.logs(joined[part][linked])
            by_chance = together[:, :1] - alone[linked][:, :1]
            share = chance[part][linked][:, None]
            with np.errstate(divide="ignore"):
                alone[linked] = np.logaddexp(np.log(share) + together, np.log1p(-share) + alone[linked] + by_chance)
        barred = (~allowed[part]).astype(np.float64) @ space.members.T.astype(np.float64) > 0
        alone += np.log(space.weight)
        alone[barred] = -np.inf
        alone -= alone.max(axis=1, keepdims=True)
        np.exp(alone, out=alone)
        found[part] = alone / alone.sum(axis=1, keepdims=True)
    return found


class Factors:
    """Factors of the observations, each distinct picture of a group reckoned once."""

    def __init__(self, space: Space) -> None:
        self.space = space
        self.group = lru_cache(maxsize=None)(self._group)
        self.chance = lru_cache(maxsize=None)(self._chance)
        self.ratio = lru_cache(maxsize=None)(self._ratio)

    def logs(self, states: States) -> Floats:
        """Sums of the logarithms over all observations: (N, H) of states (N, K)."""
        total = np.zeros((len(states), len(self.space.weight)))
        for place, (_, columns) in enumerate(self.space.chains):
            pictures, which = np.unique(states[:, columns], axis=0, return_inverse=True)
            table = np.stack([np.log(self.group(place, picture.tobytes())) for picture in pictures])
            total += table[which.reshape(-1)]
        return total

    def _group(self, place: int, states: bytes) -> Floats:
        _, columns = self.space.chains[place]
        return factor(self.space.rates[:, columns], np.frombuffer(states, dtype=np.int8).tolist())

    def _ratio(self, place: int, states: bytes) -> Floats:
        """How many times as likely under each cause alone as under none, (C,): the hypotheses after the first."""
        found = self.group(place, states)
        return np.asarray(found[1 : 1 + len(self.space.names)] / found[0])

    def _chance(self, place: int, states: bytes, at: int) -> Floats:
        """P(the check at this place of the chain fires), beside what the rest of its group shows, (H,)."""
        tried = []
        for outcome in (FIRES, SILENT):
            picture = np.frombuffer(states, dtype=np.int8).copy()
            picture[at] = outcome
            tried.append(self.group(place, picture.tobytes()))
        return np.asarray(tried[0] / (tried[0] + tried[1]))


def expected_change(
    factors: Factors, given: Floats, states: States, cause: int
) -> list[tuple[int, float, float, float]]:
    """What each check left out would do for one cause: (check, expected change, P if it fires, P if it is silent).

    given: posterior (H,) of one account; states: (K,). The expected change of P(cause) is the mean of |P after - P
    now| over the two outcomes. Greatest first; a check of a group is weighed beside the rest of its group.
    """
    holds = factors.space.members[:, cause]
    now = float(given[holds].sum())
    found = []
    for place, (_, columns) in enumerate(factors.space.chains):
        picture = states[columns]
        for at in np.flatnonzero(picture == LEFT_OUT).tolist():
            fires = given * factors.chance(place, picture.tobytes(), at)
            p_fires, p_both = float(fires.sum()), float(fires[holds].sum())
            after_fires, after_silent = p_both / p_fires, (now - p_both) / (1.0 - p_fires)
            change = p_fires * abs(after_fires - now) + (1.0 - p_fires) * abs(after_silent - now)
            found.append((int(columns[at]), change, after_fires, after_silent))
    return sorted(found, key=lambda row: (-row[1], row[0]))
