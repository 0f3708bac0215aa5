"""The faults of zones, users, restores and options programmed wrong."""

from __future__ import annotations

from tests.simulation.planting import Planter

PLANTERS: dict[str, Planter] = {}
