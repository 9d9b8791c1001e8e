"""Which answers are still missing, ranked by what each settles."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from knockon.engine.explain.facts import Evidence
from knockon.engine.explain.questions import AREAS, answers_to, questions, try_answers, weigh
from knockon.engine.infer.lines import find_lines
from knockon.engine.infer.run import infer
from knockon.engine.load.slots import with_answers
from knockon.engine.model.case import Slot
from knockon.engine.model.catalogue import Value
from knockon.engine.model.outcome import POSSIBLE
from knockon.engine.model.plan import Question
from knockon.engine.model.record import replace
from knockon.engine.plan.build import evidence_of

Example = Callable[[str], Evidence]
Told = Callable[..., Evidence]


def named(evidence: Evidence) -> dict[str, Question]:
    return {q.fact: q for q in questions(evidence)}


def answered(evidence: Evidence, answers: dict[Slot, frozenset[Value]]) -> Evidence:
    case = with_answers(evidence.case, evidence.program, answers)
    return evidence_of(evidence.program, case, alone=True)


def planned(evidence: Evidence) -> set[tuple[str, str]]:
    return {k for k, line in evidence.found.lines.items() if line.standing != POSSIBLE}


def test_a_fully_told_case_leaves_nothing_to_ask(told: Told) -> None:
    assert (
        questions(told({"event_type": "collision", "area": ["rear"]}, fitted=["ocs_strain", "cam_rear"]))
        == []
    )


def test_an_empty_case_is_asked_first_what_happened_and_where(told: Told) -> None:
    assert [q.fact for q in questions(told(rest="unknown"))][:2] == ["event_type", "area"]


def test_a_question_speaks_the_words_of_the_trade_and_says_who_answers(example: Example) -> None:
    found = named(example("mostly-unknown"))
    question = found["pass_seat_load"]
    assert question.ask == "Who or what was on the front passenger seat at the hit?"
    assert question.who == ("estimator", "intake")
    assert question.choices["child_seat"] == "child seat"
    assert "ocs_check" in question.firms
    assert found["method.radar_front"].ask.startswith(
        "Which calibration method does the procedure give for the"
    )


def test_systems_are_asked_by_area_not_one_by_one(example: Example) -> None:
    found = named(example("mostly-unknown"))
    areas = [f for f in found if f.startswith("fitted")]
    assert len(areas) == len(set(areas)) <= len(AREAS)
    seat = found["fitted.seat"]
    assert seat.ask == "Which seat systems are fitted?"
    assert set(seat.choices) >= {"ocs_strain", "ocs_bladder"}


def test_parts_and_codes_are_one_question_each(told: Told) -> None:
    found = named(told({"event_type": "collision", "area": ["front"]}, rest="unknown"))
    assert not [f for f in found if f.startswith(("touched", "damaged", "code"))]
    assert any(s.startswith("touched.") for s in found["parts_final"].slots)
    assert any(s.startswith("code.") for s in found["scan_pre_state"].slots)


def test_the_ranking_is_by_weight_and_the_same_every_time(example: Example) -> None:
    evidence = example("mostly-unknown")
    first = weigh(evidence)
    assert [w.weight for w in first] == sorted((w.weight for w in first), reverse=True)
    assert first == weigh(evidence_of(evidence.program, evidence.case, alone=True))


def test_what_decides_an_assumption_is_asked_for_what_rests_on_it(told: Told) -> None:
    evidence = told({"event_type": "collision"}, rest="unknown")
    by_id = {w.id: w for w in weigh(evidence)}
    assert set(by_id["zone"].provisional) <= set(by_id["area"].provisional)
    assert set(by_id["rollover"].provisional) <= set(by_id["area"].provisional)


@pytest.mark.parametrize("name", ["mostly-unknown", "parked-tap"])
def test_no_answer_to_what_is_not_asked_changes_the_plan(example: Example, name: str) -> None:
    evidence = example(name)
    open_slots = {tuple(s.split(".")) for q in questions(evidence) for s in q.slots}
    for fact, spec in evidence.program.facts.items():
        slot = ("fact", fact)
        if (
            slot in open_slots
            or evidence.case.state(slot).known is not None
            or spec.type in ("number", "date")
        ):
            continue
        for value in [v for v in spec.values if v != "*"][:3]:
            after = answered(evidence, {slot: frozenset((value,))})
            assert planned(after) == planned(evidence), (fact, value)


def test_trying_an_answer_says_what_it_would_really_do(example: Example) -> None:
    evidence = example("parked-tap")
    for question in questions(evidence)[:6]:
        tried = try_answers(evidence, question)
        for answer, settles in answers_to(evidence, question).items():
            case = with_answers(evidence.case, evidence.program, settles)
            lines = find_lines(evidence.program, case, infer(evidence.program, case, alone=True)).lines
            then = {".".join(w for w in k if w) for k, line in lines.items() if line.standing != POSSIBLE}
            now = {".".join(w for w in k if w) for k in planned(evidence)}
            assert set(tried[answer]["adds"]) == then - now
            assert set(tried[answer]["drops"]) == now - then


def test_answers_to_a_group_of_systems_are_none_and_all(example: Example) -> None:
    evidence = example("mostly-unknown")
    question = named(evidence)["fitted.seat"]
    tried = answers_to(evidence, question)
    assert list(tried) == ["none of them", "all of them"]
    assert all(slot[0] == "fitted" for slot in tried["none of them"])
    assert len(try_answers(evidence, replace(question))) == 2


def test_an_answer_closes_its_question(told: Told) -> None:
    evidence = told({"event_type": "collision"}, rest="unknown")
    after = answered(evidence, {("fact", "rollover"): frozenset(("no",))})
    assert "rollover" in named(evidence)
    assert "rollover" not in named(after)
