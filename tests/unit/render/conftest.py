"""The plans of a few scenarios of the built-in packs."""

from __future__ import annotations

import pytest
from knockon.engine.load.scenario import scenario_case
from knockon.engine.model.plan import Plan
from knockon.engine.model.program import Program
from knockon.engine.plan.build import evidence_of, plan_of


@pytest.fixture(scope="session")
def real_plans(program: Program) -> dict[str, Plan]:
    """Every twentieth scenario, planned."""
    return {
        s.name: plan_of(evidence_of(program, scenario_case(s, program), alone=True), True, False)
        for s in program.scenarios[::20]
    }
