"""The same cause again and again: where a group of accounts has one more often than all the others together.

For each cause and each value of a grouping (installer, dealer, area, transmitter, month of installation, template):
Fisher's exact test, one-sided, of the group against the rest (the hypergeometric tail: Fisher R.A. 1935, The Design of
Experiments, ch. 2), over the accounts that could have the cause and of which the value is known. All tests of a run
are one family for Benjamini-Hochberg (judging/stats). Groups of fewer than ``LEAST_GROUP`` accounts are no group.
Funnel: exact binomial limits of 95 % and 99.8 % around the share of all (Spiegelhalter 2005, Stat. Med. 24:1185, from
memory). A pattern is a lead: groups differ in what they install, and nobody drew lots for it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import binom, hypergeom

from sigaudit.judging.cause_model import Model
from sigaudit.judging.stats import benjamini_hochberg

__all__ = ["FACTORS", "Funnel", "Pattern", "cases_of", "exact_p", "find", "funnel", "train"]

FACTORS = ("installer", "dealer", "area", "transmitter", "installed_month", "template")
LEAST_GROUP = 5
LEAST_CASES = 3  # house: two of a kind are no pattern
LEVEL = 0.05
_NAMED = ("strong", "likely")


@dataclass(frozen=True)
class Pattern:
    """One group and cause: k of its n accounts, other_k of the other_n others. p exact one-sided, q adjusted."""

    factor: str
    value: str
    cause: str
    k: int
    n: int
    other_k: int
    other_n: int
    p: float
    q: float

    @property
    def stands_out(self) -> bool:
        """More than chance explains, after all groups were looked at."""
        return self.q <= LEVEL and self.k >= LEAST_CASES


@dataclass(frozen=True)
class Funnel:
    """One group: k of n accounts with any named cause, and the limits that chance leaves it."""

    factor: str
    value: str
    k: int
    n: int
    share: float
    low_95: float
    high_95: float
    low_998: float
    high_998: float


def exact_p(k: ArrayLike, n: ArrayLike, other_k: ArrayLike, other_n: ArrayLike) -> NDArray[np.float64]:
    """Chance that a group of n has k or more of the k + other_k cases that n + other_n accounts have in all."""
    k, n, other_k, other_n = (np.asarray(counts, dtype=np.int64) for counts in (k, n, other_k, other_n))
    return np.clip(hypergeom.sf(k - 1, n + other_n, k + other_k, n), 0.0, 1.0)


def cases_of(tables: Iterable[Iterable[Mapping[str, Any]]]) -> dict[str, set[str]]:
    """Account key -> causes named at least likely there in any of these weeks (rows of the run table ``causes``).

    A cause that a log cannot tell from another counts for both.
    """
    found: dict[str, set[str]] = defaultdict(set)
    for rows in tables:
        for row in rows:
            if row["shown"] and row["confidence"] in _NAMED:
                found[row["account_key"]].add(row["cause"])
    return dict(found)


def grouped(accounts: Iterable[Mapping[str, Any]]) -> dict[str, dict[str, str]]:
    """Account key -> value per factor, '' where it is not known."""
    found = {}
    for row in accounts:
        month = "" if row["installed_on"] is None else f"{row['installed_on']:%Y-%m}"
        values = {name: row.get(name) or "" for name in FACTORS if name != "installed_month"}
        found[row["account_key"]] = {**values, "installed_month": month}
    return found


def find(
    accounts: Mapping[str, Mapping[str, str]],
    cases: Mapping[str, set[str]],
    barred: Mapping[str, set[str]],
) -> list[Pattern]:
    """Every group and cause tested, the least probable by chance first.

    accounts: key -> factor -> value; cases: key -> causes; barred: key -> causes that it cannot have.
    """
    causes = sorted({cause for held in cases.values() for cause in held})
    rows: list[tuple[str, str, str, int, int, int, int]] = []
    for factor in FACTORS:
        for cause in causes:
            members: dict[str, list[bool]] = defaultdict(list)
            for key, values in accounts.items():
                if values[factor] and cause not in barred.get(key, ()):
                    members[values[factor]].append(cause in cases.get(key, ()))
            total, ill = sum(map(len, members.values())), sum(map(sum, members.values()))
            for value, has in sorted(members.items()):
                k, n = sum(has), len(has)
                if n >= LEAST_GROUP and total > n and ill:
                    rows.append((factor, value, cause, k, n, ill - k, total - n))
    if not rows:
        return []
    k, n, other_k, other_n = np.array([row[3:] for row in rows], dtype=np.int64).T
    p = exact_p(k, n, other_k, other_n)
    q = benjamini_hochberg(p)
    found = [Pattern(*row, float(a), float(b)) for row, a, b in zip(rows, p, q, strict=True)]
    return sorted(found, key=lambda one: (one.p, one.factor, one.value, one.cause))


def funnel(accounts: Mapping[str, Mapping[str, str]], cases: Mapping[str, set[str]]) -> list[Funnel]:
    """Groups of every factor with the share of their accounts that has a named cause, in order of size."""
    found = []
    for factor in FACTORS:
        members: dict[str, list[bool]] = defaultdict(list)
        for key, values in accounts.items():
            if values[factor]:
                members[values[factor]].append(bool(cases.get(key)))
        total = sum(map(len, members.values()))
        share = sum(map(sum, members.values())) / total if total else 0.0
        for value, has in sorted(members.items(), key=lambda item: (-len(item[1]), item[0])):
            n = len(has)
            limits = [float(binom.ppf(tail, n, share)) / n for tail in (0.025, 0.975, 0.001, 0.999)]
            found.append(Funnel(factor, value, sum(has), n, share, *limits))
    return found


def train(patterns: Sequence[Pattern], model: Model) -> list[dict[str, str]]:
    """What to show whom: the causes that stand out by installer or dealer, with what is done wrong and how it is right.

    A cause that nobody installs or programs (service, aging, people) is no matter of training.
    """
    taught = ("panel programming", "transmitter programming", "wiring", "zone wiring", "station data entry")
    rows = []
    for one in patterns:
        cause = model.cause(one.cause)
        if one.stands_out and one.factor in ("installer", "dealer") and cause.sits in taught:
            rows.append({"who": one.value, "as": one.factor, "cause": one.cause, "what": cause.title,
                         "is": cause.says, "right": cause.fix})  # fmt: skip
    return rows
