"""Odds that a path which misses tests is broken rather than unlucky, weighed against its peers.

Peers are paths of the same kind, on the same receiver line, of the same system type. Where too few of
them had a test due, the next wider crowd stands for them: same kind and line, same kind, the station.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from sigaudit.judging.mixtures import LEAST_ACCOUNTS, Beta, Mixture, expected_rate, fit_two, p_broken
from sigaudit.judging.stats import benjamini_hochberg, binomial_tail, clopper_pearson

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Where too few paths are heard to fit their own crowd: 2 % broken, of which every miss rate is as
# likely as any other; sound paths miss about 1 % (house; the healthy rate is a common start value).
START = Mixture(share=0.02, sound=Beta(0.5, 49.5), broken=Beta(1.0, 1.0))
# The narrower a crowd, the more a single broken line could pass for what is usual (house).
LEAST_NARROW = 500
REAL = (
    "p_broken", "p_value", "q_value", "healthy_rate", "low", "high", "shrunken_rate", "shrunken_low", "shrunken_high",
)  # fmt: skip
TRAITS = ("kind", "line", "system_type")


@dataclass(frozen=True)
class Crowd:
    """A crowd of peers: which traits they share (a head of TRAITS), how many, and what they miss."""

    shared: tuple[str, ...]
    paths: int
    mixture: Mixture
    fitted: bool

    def told(self) -> str:
        """In words: what the peers have in common."""
        kind, line, system = (*self.shared, "", "", "")[:3]
        if not self.fitted:
            return "start values, too few paths to learn from"
        what = {"": "accounts as a whole", "panel": "panel tests"}.get(kind, f"{kind} paths")
        told = what if self.shared else "all paths of the station"
        told += f" on receiver line {line}" if line else ""
        return f"{told}, {system} systems" if system else told


def crowds(k: Ints, n: Ints, traits: Sequence[Sequence[str]]) -> tuple[list[Crowd], Ints]:
    """The crowds in use, and which of them each path belongs to.

    k missed of n due per path; traits: per TRAITS one text per path. A crowd needs 200 paths with a test due,
    one narrower than the kind of path 500; one that shows no two kinds of path keeps the mixture of the wider.
    """
    station = fit_two(k, n)
    found = [Crowd((), int((n > 0).sum()), station or START, station is not None)]
    member = np.zeros(len(k), dtype=np.int64)
    if station is None:
        return found, member
    for depth in range(1, len(traits) + 1):
        keys = list(zip(*(traits[i] for i in range(depth)), strict=True))
        names = sorted(set(keys))
        number = {name: i for i, name in enumerate(names)}
        of = np.array([number[key] for key in keys], dtype=np.int64)
        due = np.bincount(of[n > 0], minlength=len(names))
        for i in np.flatnonzero(due >= (LEAST_ACCOUNTS if depth == 1 else LEAST_NARROW)):
            rows = np.flatnonzero(of == i)
            wider = found[int(member[rows[0]])]
            if due[i] == wider.paths:  # the same paths once more
                mixture = wider.mixture
            else:
                mixture = fit_two(k[rows], n[rows], near=wider.mixture) or wider.mixture
            found.append(Crowd(names[i], int(due[i]), mixture, True))
            member[rows] = len(found) - 1
    return found, member


def miss_odds(k: Ints, n: Ints, traits: Sequence[Sequence[str]] = ()) -> dict[str, Floats | list[str] | Ints]:
    """For ``k`` missed of ``n`` due per path: the columns REAL, ``peers`` in words and ``n_peers``.

    p_broken by the two-component beta-binomial mixture of its peers (``START`` while none can be fitted);
    shrunken_rate the miss rate to be expected of it, its own misses weighed against its peers, with 95 %
    limits; p_value the exact binomial tail P(X >= k) at the sound peers' mean rate, q_value its
    Benjamini-Hochberg adjustment over all paths; low and high the 95 % Clopper-Pearson interval of k/n.
    Sources stand in judging/stats and judging/mixtures. Paths with n = 0 get p_broken of the prior and p 1.
    """
    found, member = crowds(k, n, traits)
    answer: dict[str, Floats] = {name: np.zeros(len(k)) for name in REAL}
    for i, crowd in enumerate(found):
        rows = np.flatnonzero(member == i)
        pairs, where = np.unique(np.stack([k[rows], n[rows]]), axis=1, return_inverse=True)
        k_of, n_of = pairs.astype(np.int64)
        rate, low, high = expected_rate(k_of, n_of, crowd.mixture)
        for name, values in (
            ("p_broken", p_broken(k_of, n_of, crowd.mixture)),
            ("p_value", np.where(n_of > 0, binomial_tail(k_of, n_of, crowd.mixture.sound.mean), 1.0)),
            ("shrunken_rate", rate), ("shrunken_low", low), ("shrunken_high", high),
        ):  # fmt: skip
            answer[name][rows] = values[where.ravel()]
        answer["healthy_rate"][rows] = crowd.mixture.sound.mean
    answer["q_value"] = benjamini_hochberg(answer["p_value"])
    answer["low"], answer["high"] = clopper_pearson(k, n)
    words = [crowd.told() for crowd in found]
    sizes = np.array([crowd.paths for crowd in found], dtype=np.int64)
    return {**answer, "peers": [words[i] for i in member], "n_peers": sizes[member]}


def with_odds(found: pa.Table) -> pa.Table:
    """The rows (k, n and TRAITS among the columns) with the columns of ``miss_odds`` added."""
    k, n = (found[name].to_numpy().astype(np.int64) for name in ("k", "n"))
    odds = miss_odds(k, n, [found[name].to_pylist() for name in TRAITS])
    for name, values in odds.items():
        kind = pa.float64() if name in REAL else pa.string() if name == "peers" else pa.int64()
        found = found.append_column(name, pa.array(values, kind))
    return found
