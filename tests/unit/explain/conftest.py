"""What the tests of explanations share: examples and told cases, evaluated once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

import pytest
from command import TOP
from knockon.engine.explain.facts import Evidence
from knockon.engine.load.case import load_case
from knockon.engine.load.scenario import scenario_case
from knockon.engine.model.program import Program
from knockon.engine.model.rule import Scenario
from knockon.engine.model.span import Span
from knockon.engine.plan.build import evidence_of


@pytest.fixture(scope="session")
def example(program: Program) -> Callable[[str], Evidence]:
    """The evidence of an example by its folder."""

    @cache
    def evidence(name: str) -> Evidence:
        return evidence_of(program, load_case(TOP / "examples" / name / "case.yaml", program), alone=True)

    return evidence


@pytest.fixture(scope="session")
def told(program: Program) -> Callable[..., Evidence]:
    """The evidence of a case told as in a scenario; what is not told is known to be absent."""

    def evidence(facts: Mapping[str, Any] | None = None, **given: Any) -> Evidence:
        said = {"facts": dict(facts or {}), **given}
        scenario = Scenario("told", said, (), {}, {}, {}, {}, {}, {}, None, Span("told", 1, 1))
        return evidence_of(program, scenario_case(scenario, program), alone=True)

    return evidence
