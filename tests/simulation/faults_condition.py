"""The faults of conditions of the site that stand or come again and again."""

from __future__ import annotations

from tests.simulation.planting import Planter

PLANTERS: dict[str, Planter] = {}
