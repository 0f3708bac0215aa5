"""Odds that a path which misses tests is broken rather than unlucky, for the whole station at once."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from sigaudit.judging.mixtures import Beta, Mixture, fit_two, p_broken
from sigaudit.judging.stats import benjamini_hochberg, binomial_tail, clopper_pearson

# Where too few paths are heard to fit their own crowd: 2 % broken, of which every miss rate is as
# likely as any other; sound paths miss about 1 % (house; the healthy rate is a common start value).
START = Mixture(share=0.02, sound=Beta(0.5, 49.5), broken=Beta(1.0, 1.0))


def miss_odds(k: np.ndarray, n: np.ndarray) -> dict[str, np.ndarray]:
    """For ``k`` missed of ``n`` due per path: p_broken, p_value, q_value, healthy_rate, low, high.

    p_broken by the two-component beta-binomial mixture of this station's paths (``START`` while it
    cannot be fitted); p_value the exact binomial tail P(X >= k) at the sound paths' mean rate, q_value
    its Benjamini-Hochberg adjustment; low and high the 95 % Clopper-Pearson interval of k/n. Sources
    stand in judging/stats and judging/mixtures. Paths with n = 0 get p_broken of the prior and p 1.
    """
    if not len(k):
        empty = np.zeros(0)
        return dict.fromkeys(("p_broken", "p_value", "q_value", "healthy_rate", "low", "high"), empty)
    mixture = fit_two(k, n) or START
    p_value = np.where(n > 0, binomial_tail(k, n, mixture.sound.mean), 1.0)
    low, high = clopper_pearson(k, n)
    return {
        "p_broken": p_broken(k, n, mixture),
        "p_value": p_value,
        "q_value": benjamini_hochberg(p_value),
        "healthy_rate": np.full(len(k), mixture.sound.mean),
        "low": np.asarray(low, dtype=np.float64),
        "high": np.asarray(high, dtype=np.float64),
    }


def with_odds(found: pa.Table) -> pa.Table:
    """The rows (k, n among the columns) with the columns of ``miss_odds`` added."""
    odds = miss_odds(*(found[name].to_numpy().astype(np.int64) for name in ("k", "n")))
    for name, values in odds.items():
        found = found.append_column(name, pa.array(values, pa.float64()))
    return found
