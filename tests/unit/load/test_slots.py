"""From answers to slots: known, implied, or unknown with the cautious assumption; unknown never equals no."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.load.slots import assemble, holds
from knockon.engine.model.case import CLOSED, Answers, Slot, State
from knockon.engine.model.catalogue import Test as FactTest
from knockon.engine.model.catalogue import Value
from knockon.engine.model.program import Program
from written_pack import load, rule


@pytest.fixture
def small(tmp_path: Path) -> Program:
    """The small pack; one rule asks for a calibration method, so that method has a slot."""
    return load(tmp_path, rule(body="when: [{method: eye, in: [static]}]"))


def said(*answers: tuple[Slot, str], clear: bool = False) -> Answers:
    made = Answers(rest_clear=clear)
    for slot, value in answers:
        made.say(slot, frozenset((value,)))
    return made


FACT = "fact"


def test_an_answer_is_known_and_silence_is_unknown_with_its_assumption(small: Program) -> None:
    slots = assemble(said(((FACT, "event_type"), "hail")), small)
    assert slots[FACT, "event_type"].known == {"hail"}
    assert slots[FACT, "area"] == State(None, frozenset(("front",)))
    assert slots[FACT, "towed"].value == {"no"}
    assert slots["fitted", "ear"] == State(None, frozenset(("yes",)))
    assert slots["fitted", "lamp"].known == {"yes"}
    assert slots["code", "eye"] == State(None, frozenset(("no",)))
    assert slots["method", "eye"] == State(None, frozenset(("both",)))


def test_an_assumption_may_rest_on_an_assumption(small: Program) -> None:
    assert assemble(said(), small)[FACT, "towed"].value == {"yes"}


def test_what_follows_from_answers_is_known_and_never_overrules_one(small: Program) -> None:
    slots = assemble(said(((FACT, "towed"), "yes")), small)
    assert slots[FACT, "event_type"].known == {"collision"}
    assert slots[FACT, "event_type"].said_by == "follows: a towed car was hit"
    slots = assemble(said(((FACT, "towed"), "yes"), ((FACT, "event_type"), "none")), small)
    assert slots[FACT, "event_type"].known == {"none"}


def test_nothing_follows_from_what_is_only_assumed(small: Program) -> None:
    assert assemble(said(), small)[FACT, "event_type"].known is None


def test_with_the_rest_clear_silence_is_a_known_no(small: Program) -> None:
    slots = assemble(said(clear=True), small)
    assert slots[FACT, "event_type"].known == {"none"}
    assert slots["fitted", "eye"].known == {"no"}
    assert slots.get(("touched", "nose", "front"), CLOSED) is CLOSED
    assert slots.get(("code", "eye"), CLOSED) is CLOSED


def test_parts_nobody_listed_stay_open_until_the_list_is_said_to_be_complete(small: Program) -> None:
    slot = ("touched", "wing", "front_left")
    assert assemble(said(), small)[slot] == State(None)
    assert slot not in assemble(said(((FACT, "parts_final"), "yes")), small)


def test_what_was_said_stands_in_its_place_among_the_slots(small: Program) -> None:
    """Slots keep the order of the vocabulary, which is that of lists in a plan, whatever was said first."""
    spoken = [
        ("touched", "wing", "front_left"),
        ("damaged", "nose", "front"),
        ("code", "eye"),
        ("code", "ear"),
    ]
    every = [slot for slot in assemble(said(), small) if slot[0] in ("code", "touched", "damaged")]
    told = [slot for slot in every if slot in spoken]
    assert told != spoken
    assert len(told) == len(spoken)
    for slots in (spoken, spoken[::-1]):
        answers = [(slot, "yes") for slot in slots]
        assert [slot for slot in assemble(said(*answers), small) if slot in every] == every
        assert [slot for slot in assemble(said(*answers, clear=True), small) if slot in every] == told


@pytest.mark.parametrize(
    ("test", "values", "expected"),
    [
        (FactTest("any_of", ("a", "b")), ["b"], True),
        (FactTest("any_of", ("a",)), [], False),
        (FactTest("none_of", ("a",)), ["b"], True),
        (FactTest("none_of", ("a",)), [], True),
        (FactTest("none_of", ("a",)), ["a", "b"], False),
        (FactTest("some"), [], False),
        (FactTest("some"), ["x"], True),
        (FactTest("at_least", (8.0,)), [8.0], True),
        (FactTest("at_least", (8.0,)), [7.9], False),
        (FactTest("at_least", (8.0,)), [], False),
        (FactTest("below", (8.0,)), [7.9], True),
        (FactTest("below", (8.0,)), [8.0], False),
        (FactTest("not_known"), ["x"], False),
    ],
)
def test_when_a_test_holds(test: FactTest, values: list[Value], expected: bool) -> None:
    assert holds(test, frozenset(values)) is expected


@given(st.frozensets(st.sampled_from("abcd")), st.frozensets(st.sampled_from("abcd"), min_size=1))
def test_any_of_and_none_of_are_opposites_on_known_values(
    values: frozenset[Value], asked: frozenset[Value]
) -> None:
    named = tuple(sorted(asked, key=str))
    assert holds(FactTest("any_of", named), values) != holds(FactTest("none_of", named), values)
