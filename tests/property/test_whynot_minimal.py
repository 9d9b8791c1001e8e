"""What `why-not` proposes is true and minimal: each change brings the line in, and no part of it does."""

from __future__ import annotations

import random
from itertools import combinations

import pytest
from knockon.engine.explain.facts import Evidence
from knockon.engine.explain.whynot import Change, why_not
from knockon.engine.load.scenario import scenario_case
from knockon.engine.load.slots import holds, with_answers
from knockon.engine.model.case import Entry
from knockon.engine.model.outcome import POSSIBLE
from knockon.engine.model.places import expand
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.plan.build import evidence_of


def brought_in(evidence: Evidence, change: Change, operation: str) -> bool:
    """Whether the whole road, both engines included, plans the operation after these answers."""
    program = evidence.program
    told = {slot: values for slot, values in change.items() if slot[0] != "result"}
    case = with_answers(evidence.case, program, told)
    done = [Entry("9999-12-31", s[1], s[2], str(*v)) for s, v in change.items() if s[0] == "result"]
    after = evidence_of(program, replace(case, log=(*case.log, *done)))
    places = expand("", program.operations[operation].per)
    lines = [after.found.lines.get((operation, place)) for place in places]
    return any(line is not None and line.standing != POSSIBLE for line in lines)


def coherent(evidence: Evidence, change: Change) -> bool:
    """Whether no two answers of the changed case exclude each other."""
    answers = with_answers(evidence.case, evidence.program, change).answers
    said = {slot: state.known for slot, state in answers.said.items() if state.known is not None}
    return not any(
        all((kind, id_) in said and holds(test, said[kind, id_]) for kind, id_, test in item.tests)
        for item in evidence.program.impossible
    )


@pytest.mark.slow
@pytest.mark.parametrize("block", range(4))
def test_each_change_suffices_and_no_part_of_it_does(program: Program, block: int) -> None:
    rng, explained = random.Random(f"why not {block}"), 0
    for scenario in rng.sample(program.scenarios, 4):
        evidence = evidence_of(program, scenario_case(scenario, program))
        lines = evidence.found.lines.items()
        there = {operation for (operation, _), line in lines if line.standing != POSSIBLE}
        for operation in rng.sample(sorted(program.operations.keys() - there), 3):
            changes = why_not(evidence, operation).changes
            explained += bool(changes)
            for change in changes:
                assert change
                assert coherent(evidence, {s: v for s, v in change.items() if s[0] != "result"})
                assert brought_in(evidence, change, operation), (scenario.name, operation, change)
                for size in range(1, len(change)):
                    for part in combinations(change.items(), size):
                        assert not brought_in(evidence, dict(part), operation), (operation, change, part)
            for one, other in combinations(changes, 2):
                assert not one.items() <= other.items()
    assert explained >= 9


@pytest.mark.slow
def test_nearly_every_absent_operation_has_a_way_in(program: Program) -> None:
    """An explanation that finds nothing is allowed, but rare; which they are is looked at here."""
    rng, without, asked = random.Random("ways"), list[str](), 0
    for scenario in rng.sample(program.scenarios, 3):
        evidence = evidence_of(program, scenario_case(scenario, program), alone=True)
        there = {operation for operation, _ in evidence.found.lines}
        for operation in rng.sample(sorted(program.operations.keys() - there), 12):
            asked += 1
            without += [] if why_not(evidence, operation).changes else [operation]
    assert len(without) <= asked // 10, without
