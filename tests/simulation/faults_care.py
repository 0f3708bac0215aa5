"""The faults of what the station itself lets lie."""

from __future__ import annotations

from tests.simulation.planting import Planter

PLANTERS: dict[str, Planter] = {}
