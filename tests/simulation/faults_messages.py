"""The faults of messages that come damaged, twice, in another format or with a wrong time."""

from __future__ import annotations

from tests.simulation.planting import Planter

PLANTERS: dict[str, Planter] = {}
