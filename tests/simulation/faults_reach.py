"""The faults of who is heard at all, and under which number."""

from __future__ import annotations

from tests.simulation.planting import Planter

PLANTERS: dict[str, Planter] = {}
