"""Guarantee 2 of the design: what is firm stays, what can come is seen coming, and order means nothing.

Tried over random programs and over the base pack, with the open questions answered at random.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping
from functools import cache
from typing import TypeVar

import pytest
from command import built_in
from fuzzed import blocks
from knockon.engine.infer.certify import fixpoints
from knockon.engine.infer.lines import Found, LineId, find_lines
from knockon.engine.infer.run import infer
from knockon.engine.load.scenario import scenario_case
from knockon.engine.model.case import Case, Slot, State
from knockon.engine.model.outcome import FIRM, POSSIBLE, STANDINGS
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.model.rule import STRENGTHS, Scenario
from random_cases import completed, opened, random_case, unknown
from random_packs import random_program

K = TypeVar("K")
T = TypeVar("T")
YES = frozenset(("yes",))


def lines_of(program: Program, case: Case) -> Found:
    """The lines of a case, by the check alone: that both engines agree is tested elsewhere."""
    return find_lines(program, case, infer(program, case, alone=True))


def coherent(program: Program, case: Case) -> Case:
    """The case with every system the law prescribes not said to be missing: no such vehicle was sold."""
    passes = fixpoints(program, case)
    by_law = {r.subject for r in passes[POSSIBLE].made if r.kind == "fitted"}
    denied: list[Slot] = [("fitted", s) for s in by_law if case.state(("fitted", s)).known is not None]
    return replace(case, slots={**case.slots, **dict.fromkeys(denied, State(YES))})


def filled_in(program: Program, case: Case, rng: random.Random) -> Found:
    """The lines of a random completion of a coherent case that is coherent itself."""
    full = completed(program, case, rng)
    while disputed := (outcome := infer(program, full, alone=True)).contradictions:
        full = replace(full, slots={**full.slots, **{("fitted", s): State(YES) for s in disputed}})
    return find_lines(program, full, outcome)


def stronger_or_same(one: str, other: str) -> bool:
    """Whether a strength is at least another."""
    return STRENGTHS.index(one) >= STRENGTHS.index(other)


def holds_over_completions(program: Program, case: Case, rng: random.Random, rounds: int) -> Counter[str]:
    """Check guarantee 2 on one case; how many lines of each standing the completions kept."""
    open_lines, seen = lines_of(program, case).lines, Counter[str]()
    firm = {key: line.firm_as for key, line in open_lines.items() if line.firm_as}
    for _ in range(rounds):
        lines = filled_in(program, case, rng).lines
        assert all(line.standing == FIRM for line in lines.values()), "a known case has only firm lines"
        assert firm.keys() <= lines.keys(), "a firm line is in every completion"
        assert all(stronger_or_same(lines[key].strength, strength) for key, strength in firm.items())
        assert lines.keys() <= open_lines.keys(), "no completion has a line that was not seen coming"
        seen.update(open_lines[key].standing for key in lines)
    return seen


@blocks(4, 8)
def test_firm_within_every_completion_within_possible(block: int) -> None:
    rng, seen = random.Random(f"completions {block}"), Counter[str]()
    for seed in range(1000 + 15 * block, 1015 + 15 * block):
        program = random_program(seed, (4, 8, 12, 20, 40)[seed % 5])
        for number in range(12):
            case = coherent(program, random_case(program, 100 * seed + number))
            seen += holds_over_completions(program, case, rng, 6)
    assert min(seen[s] for s in STANDINGS) > 100


@pytest.mark.slow
@pytest.mark.parametrize("block", range(4))
def test_the_base_pack_with_answers_taken_back(block: int) -> None:
    program, rng, seen = built_in(), random.Random(f"base {block}"), Counter[str]()
    for scenario in rng.sample(program.scenarios, 12):
        case = opened(program, scenario_case(scenario, program), rng, rng.choice((0.02, 0.1, 0.3, 0.9)))
        seen += holds_over_completions(program, coherent(program, case), rng, 3)
    assert min(seen[s] for s in STANDINGS) > 20


def mixed(items: Mapping[K, T], rng: random.Random) -> dict[K, T]:
    """The same mapping in another order."""
    return dict(rng.sample(list(items.items()), len(items)))


def shuffled(program: Program, case: Case, rng: random.Random) -> tuple[Program, Case]:
    """The same program and case, told in another order."""
    other = replace(
        program,
        alternatives=tuple(rng.sample(program.alternatives, len(program.alternatives))),
        facts=mixed(program.facts, rng),
        systems=mixed(program.systems, rng),
        parts=mixed(program.parts, rng),
        operations=mixed(program.operations, rng),
    )
    return other, replace(case, slots=mixed(case.slots, rng), standing=mixed(case.standing, rng))


def meaning(found: Found) -> dict[LineId, tuple[object, ...]]:
    """What a plan says of each line, whatever the order in which it was found."""
    lines: dict[LineId, tuple[object, ...]] = {
        key: (line.standing, line.strength, line.firm_as, frozenset(line.firings))
        for key, line in found.lines.items()
    }
    return lines | {
        key: (frozenset(d.asked), frozenset(d.dropped))
        for key, d in found.dropped.items()
        if key not in lines
    }


@pytest.mark.parametrize("alone", [True, False], ids=["check alone", "both engines"])
def test_the_order_of_rules_and_facts_means_nothing(alone: bool) -> None:
    rng = random.Random("order")
    for seed in range(2000, 2040):
        program = random_program(seed)
        case = random_case(program, seed)
        expected = meaning(find_lines(program, case, infer(program, case, alone=alone)))
        for _ in range(3):
            other, told = shuffled(program, case, rng)
            found = find_lines(other, told, infer(other, told, alone=alone))
            assert meaning(found) == expected
            assert list(found.lines) == sorted(expected.keys() & found.lines.keys())


def test_the_base_pack_in_another_order() -> None:
    program, rng = built_in(), random.Random("base order")
    for scenario in rng.sample(program.scenarios, 5):
        case = opened(program, scenario_case(scenario, program), rng, 0.2)
        expected = meaning(lines_of(program, case))
        other, told = shuffled(program, case, rng)
        assert meaning(lines_of(other, told)) == expected


def without(scenario: Scenario, fact: str) -> Scenario:
    """The scenario with one fact not answered."""
    facts = {**scenario.given.get("facts", {}), fact: "unknown"}  # type: ignore[dict-item]
    return replace(scenario, given={**scenario.given, "facts": facts})


@cache
def full_scenarios() -> list[tuple[Scenario, frozenset[LineId]]]:
    """The fullest scenarios that leave nothing open, and the lines required in each."""
    program = built_in()
    full = [s for s in program.scenarios if s.given.get("rest", "clear") == "clear"]
    chosen = sorted(full, key=lambda s: -len(s.must))[:6]
    return [(s, required(lines_of(program, scenario_case(s, program)))) for s in chosen]


def required(found: Found) -> frozenset[LineId]:
    """The lines that nothing but a change of facts takes off."""
    return frozenset(key for key, line in found.lines.items() if line.strength == "required")


@pytest.mark.parametrize("fact", sorted(built_in().facts))
def test_a_fact_taken_back_hides_no_required_line(fact: str) -> None:
    program = built_in()
    for scenario, before in full_scenarios():
        after = lines_of(program, scenario_case(without(scenario, fact), program)).lines
        assert len(before) > 5
        assert before <= after.keys(), (scenario.name, sorted(before - after.keys()))


def test_any_slot_taken_back_hides_no_required_line() -> None:
    program, rng = built_in(), random.Random("slots")
    for scenario, before in full_scenarios():
        case = scenario_case(scenario, program)
        for slot in rng.sample(sorted(s for s in case.slots if s[0] != "result"), 12):
            less = replace(case, slots={**case.slots, slot: unknown(program, slot, rng)})
            assert before <= lines_of(program, less).lines.keys(), slot
