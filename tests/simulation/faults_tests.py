"""The faults of test timers."""

from __future__ import annotations

from tests.simulation.planting import Planter

PLANTERS: dict[str, Planter] = {}
