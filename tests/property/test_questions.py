"""As answers come in, open questions only go: none is ever opened by an answer."""

from __future__ import annotations

import random

import pytest
from fuzzed import blocks
from knockon.engine.explain.facts import Evidence
from knockon.engine.explain.questions import weigh
from knockon.engine.load.scenario import scenario_case
from knockon.engine.load.slots import assemble, holds
from knockon.engine.model.case import Answers, Case, Slot
from knockon.engine.model.outcome import POSSIBLE
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.plan.build import evidence_of
from random_cases import answer

STEPS = 14


def opened(program: Program, case: Case, rng: random.Random) -> Case:
    """The case with part of its answers taken back, and the rest of the vehicle not known."""
    answers = Answers()
    share = rng.choice((0.2, 0.5, 0.8))
    for slot, state in case.answers.said.items():
        if rng.random() < share or slot == ("fact", "case_date"):
            answers.said[slot] = state
    for slot, state in case.slots.items():
        if (
            slot[0] in ("fact", "fitted")
            and slot not in case.answers.said
            and rng.random() < 0.4
            and state.known is not None
        ):
            answers.said[slot] = state
    return replace(case, answers=answers, slots=assemble(answers, program))


def with_answer(program: Program, case: Case, slots: tuple[Slot, ...], rng: random.Random) -> Case | None:
    """The case with some slots of a question answered at random; None when the answers exclude each other."""
    answers = case.answers.copy()
    for slot in rng.sample(slots, rng.randint(1, len(slots))):
        answers.say(slot, answer(program, slot, rng))
    found = assemble(answers, program)
    said = {s: state.known for s, state in answers.said.items() if state.known is not None}
    for item in program.impossible:
        if all((k, i) in said and holds(t, said[k, i]) for k, i, t in item.tests):
            return None
    return replace(case, answers=answers, slots=found)


def ids(evidence: Evidence) -> set[str]:
    return {w.id for w in weigh(evidence)}


@pytest.mark.slow
@blocks(2, 4)
def test_open_questions_only_shrink(program: Program, block: int) -> None:
    rng, asked = random.Random(f"questions {block}"), 0
    for scenario in rng.sample(program.scenarios, 5):
        case = opened(program, scenario_case(scenario, program), rng)
        evidence = evidence_of(program, case, alone=True)
        for _ in range(STEPS):
            open_now = weigh(evidence)
            if not open_now or evidence.outcome.contradictions:
                break
            question = rng.choice(open_now[:6] if rng.random() < 0.6 else open_now)
            told = with_answer(program, case, question.slots, rng)
            if told is None:
                continue
            after = evidence_of(program, told, alone=True)
            if after.outcome.contradictions:
                continue
            new = ids(after) - {w.id for w in open_now}
            assert not new, (scenario.name, question.id, new)
            case, evidence, asked = told, after, asked + 1
    assert asked > 20


def planned(evidence: Evidence) -> dict[tuple[str, str], str]:
    """The lines on the plan and how strongly each is asked for."""
    return {k: line.strength for k, line in evidence.found.lines.items() if line.standing != POSSIBLE}


@pytest.mark.slow
@pytest.mark.parametrize("block", range(3))
def test_what_is_not_asked_could_not_change_the_plan(program: Program, block: int) -> None:
    """So a session may end when nothing is asked any more. Look-ups are lines of their own, not questions."""
    rng, tried = random.Random(f"not asked {block}"), 0
    for scenario in rng.sample(program.scenarios, 12):
        case = opened(program, scenario_case(scenario, program), rng)
        evidence = evidence_of(program, case, alone=True)
        asked = {slot for w in weigh(evidence) for slot in (*w.slots, ("fact", w.id))}
        settled = evidence.case.slots.items()
        rest = [s for s, x in settled if x.known is None and s not in asked and s[0] != "procedure"]
        for _ in range(3):
            told = with_answer(program, case, tuple(rest), rng) if rest else None
            after = evidence_of(program, told, alone=True) if told else evidence
            if told is None or after.outcome.contradictions:
                continue
            assert planned(after) == planned(evidence), scenario.name
            tried += 1
    assert tried > 6
