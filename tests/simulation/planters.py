"""All planters by the check that should find what they plant."""

from __future__ import annotations

from tests.simulation import (
    faults,
    faults_care,
    faults_causes,
    faults_condition,
    faults_messages,
    faults_paths,
    faults_points,
    faults_power,
    faults_programming,
    faults_reach,
    faults_tests,
)
from tests.simulation.planting import Planter

PLANTERS: dict[str, Planter] = {
    **faults.PLANTERS,
    **faults_reach.PLANTERS,
    **faults_paths.PLANTERS,
    **faults_messages.PLANTERS,
    **faults_programming.PLANTERS,
    **faults_condition.PLANTERS,
    **faults_care.PLANTERS,
    **faults_tests.PLANTERS,
    **faults_power.PLANTERS,
    **faults_points.PLANTERS,
    "ground_fault_reported": faults_causes.ground_fault,
}
