"""Why nothing is asked for on a fitted system: what makes the payer trust the rest."""

from __future__ import annotations

from collections.abc import Callable

from knockon.engine.explain.considered import considered
from knockon.engine.explain.facts import Evidence
from knockon.engine.infer.lacking import settled
from knockon.engine.model.outcome import BIT, POSSIBLE, PROVISIONAL

Example = Callable[[str], Evidence]
Told = Callable[..., Evidence]


def busy(evidence: Evidence) -> set[str]:
    """The systems some planned line concerns."""
    lines = [k for k, line in evidence.found.lines.items() if line.standing != POSSIBLE]
    return {s for operation, _ in lines for s in evidence.program.operations[operation].systems}


def test_each_fitted_system_is_either_on_the_plan_or_considered(example: Example) -> None:
    for name in ("front-corner", "parked-tap", "door-hit"):
        evidence = example(name)
        named = {c.id for c in considered(evidence) if c.kind == "system"}
        fitted = {s for s in evidence.program.systems if evidence.case.state(("fitted", s)).known == {"yes"}}
        assert named == fitted - busy(evidence)


def test_the_nearest_rule_lacks_something_that_is_really_lacking(example: Example) -> None:
    evidence = example("parked-tap")
    world = settled(evidence.program, evidence.case, evidence.outcome)
    found = {c.id: c for c in considered(evidence)}
    assert found["tpms"].reason
    for item in found.values():
        assert item.rules
        assert item.lacking
        assert not any(world.holds(p) & BIT[PROVISIONAL] for p in item.lacking)
        assert item.rules[0] in evidence.program.rules


def test_a_system_nobody_knows_to_be_fitted_is_not_considered(example: Example) -> None:
    evidence = example("mostly-unknown")
    for item in considered(evidence):
        assert item.kind != "system" or evidence.case.state(("fitted", item.id)).known == {"yes"}


def test_a_line_a_rule_took_off_is_listed_with_that_rule(told: Told) -> None:
    cushion = {"part": "seat_cushion_pass", "actions": ["rr"]}
    evidence = told(fitted=["ocs_bladder"], parts=[cushion], results={"ocs_check": "pass"})
    found = {c.id: c for c in considered(evidence) if c.kind == "dropped"}
    assert found["ocs_zero"].rules[0] == "R295"
    assert found["ocs_zero"].reason == evidence.program.rules["R295"].why
