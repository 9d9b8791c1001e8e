"""One engine or two: the outcome is the same, and says who found it."""

from __future__ import annotations

import sys

import pytest
from knockon.engine.diagnostics.message import InferenceFault
from knockon.engine.infer import compile as compile_
from knockon.engine.infer import rules_engine, run
from knockon.engine.infer.certify import fixpoints
from knockon.engine.infer.compile import within_limits
from knockon.engine.model.case import State
from knockon.engine.model.outcome import FIRM, PROVISIONAL, STANDINGS, Fixpoint
from knockon.engine.model.rule import Effect, Pattern
from random_cases import random_case
from random_packs import random_program
from small_packs import case, conclude, damaged, derived, fact, plan, program, rule, touched


@pytest.mark.skipif(rules_engine.core() is None, reason="the rules library cannot be imported here")
def test_both_engines_and_the_check_alone_find_the_same() -> None:
    for seed in range(40):
        pack = random_program(seed)
        for number in range(5):
            given = random_case(pack, number)
            two, one = run.infer(pack, given), run.infer(pack, given, alone=True)
            assert (two.engines, one.engines) == (run.BOTH, run.ONE)
            assert two.contradictions == one.contradictions
            for standing in STANDINGS:
                assert set(two[standing].firings) == set(one[standing].firings)
                assert two[standing].made == one[standing].made


@pytest.mark.skipif(rules_engine.core() is None, reason="the rules library cannot be imported here")
def test_the_first_cases_compile_what_can_fire_and_later_ones_have_all_of_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    fact_no = fact("f", "no")
    pack = program(
        rule("TOUCHED", [touched("p")], conclude("d")),
        rule("CHAINED", [derived("d")], plan("o")),
        rule("ASKED", [fact("f", "yes")], plan("o")),
        rule("OTHER_PART", [touched("q"), derived("d")], plan("o")),
        rule("UNLESS", [derived("d")], plan("o"), unless=[[fact_no]]),
        parts={"p": ("",), "q": ("",)},
        operations={"o": ()},
    )
    made: list[set[str]] = []
    compiled = rules_engine.compile_rules
    monkeypatch.setattr(
        rules_engine, "compile_rules", lambda a, m: (made.append({x.id for x in a}), compiled(a, m))[1]
    )
    given = case({("touched", "p", ""): "ri", ("touched", "q", ""): "", ("fact", "f"): "no"})
    for _ in range(run.FEW + 2):
        assert {f.alternative for f in run.infer(pack, given)[FIRM].firings} == {"TOUCHED", "CHAINED"}
    whole = {"TOUCHED", "CHAINED", "ASKED", "OTHER_PART", "UNLESS"}
    assert made == [{"TOUCHED", "CHAINED", "OTHER_PART"}] * run.FEW + [whole]


@pytest.mark.skipif(rules_engine.core() is None, reason="the rules library cannot be imported here")
def test_an_engine_made_for_one_case_answers_for_no_other() -> None:
    pack = program(rule("R", [touched("p")], plan("o")), parts={"p": ("",)})
    empty, touching = case({("fact", "x"): "y"}), case({("touched", "p", ""): "ri"})
    engine = rules_engine.RulesEngine(pack, empty)
    assert engine.fixpoints(empty)[FIRM].firings == ()
    with pytest.raises(InferenceFault, match="made for another case"):
        engine.fixpoints(touching)


def test_what_is_not_clearly_within_the_limits_is_compiled_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a pack would pass with one case that it fails with in the next."""
    twice = Pattern("touched", ("p",), variable="$x", place="$x", test=touched("p").test)
    wrong = program(rule("R", [twice], plan("o")), parts={"p": ("",)})
    right = program(rule("R", [touched("$p", "$s")], plan("o")), parts={"p": ("",)})
    assert within_limits(right)
    assert not within_limits(wrong)
    monkeypatch.setattr(compile_, "FAN", 0)
    assert not within_limits(right)


def test_without_the_library_the_check_goes_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "core", lambda: None)
    pack = program(rule("R", [touched("p")], plan("o")), parts={"p": ("",)})
    outcome = run.infer(pack, case({("touched", "p", ""): "ri"}))
    assert outcome.engines == ("independent check",)
    assert len(outcome[FIRM].firings) == 1


def test_a_library_that_cannot_be_imported_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "durable_rules_engine", None)
    assert rules_engine.core() is None


@pytest.mark.skipif(rules_engine.core() is None, reason="the rules library cannot be imported here")
def test_a_firing_the_library_loses_leaves_no_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    def lossy(self: rules_engine.RulesEngine, given: object) -> dict[str, Fixpoint]:
        return dict.fromkeys(STANDINGS, Fixpoint((), frozenset()))

    monkeypatch.setattr(rules_engine.RulesEngine, "fixpoints", lossy)
    pack = program(rule("R", [touched("p")], plan("o")), parts={"p": ("",)})
    with pytest.raises(InferenceFault, match="rule R, match: touched p") as raised:
        run.infer(pack, case({("touched", "p", ""): "ri"}))
    assert raised.value.alternative == "R"


def test_patterns_over_several_subjects_ask_for_any_of_them() -> None:
    """Also where a pattern asks one question of the case, and its first subject does not answer it."""
    pattern = Pattern("procedure", ("a", "b"), test=fact("", "required").test)
    pack = program(rule("R", [pattern], plan("o")), operations={"a": (), "b": (), "o": ()})
    given = case({("procedure", "b"): "required", ("procedure", "a"): State(None)})
    assert len(fixpoints(pack, given)[FIRM].firings) == 1
    assert len(run.infer(pack, given)[FIRM].firings) == 1


def test_a_match_holds_in_the_passes_its_records_come_to_hold_in() -> None:
    """A system nobody knows of is met at once where it is possible, and for certain once a rule says it is there."""
    is_fitted = Pattern("fitted", (), variable="$x", test=fact("", "yes").test)
    pack = program(
        rule("USES", [is_fitted], conclude("d")),
        rule("NEXT", [derived("d")], plan("o")),
        rule("LAW", [touched("p")], Effect("fits", ("s",))),
        parts={"p": ("",)},
        operations={"o": ()},
    )
    given = case({("fitted", "s"): State(None, frozenset(("yes",))), ("touched", "p", ""): "ri"})
    fired = {f.alternative for f in run.infer(pack, given)[FIRM].firings}
    assert fired == {"USES", "NEXT", "LAW"}


def test_a_match_that_held_in_no_pass_yet_is_followed_up_once_it_does() -> None:
    """Its two records first hold in different passes; what it makes then has a rule of its own waiting."""
    waived = Pattern("procedure", ("o",), variable="", test=fact("", "not_required").test)
    pack = program(
        rule("MAYBE", [damaged("p")], conclude("d")),
        rule("BOTH", [derived("d"), waived], conclude("e")),
        rule("NEXT", [derived("e")], plan("o")),
        rule("SURE", [touched("p")], conclude("d")),
        parts={"p": ("",)},
        operations={"o": ()},
    )
    slots = {("damaged", "p", ""): State(None), ("touched", "p", ""): "ri"}
    slots["procedure", "o"] = State(None, frozenset(("not_required",)))
    fired = {f.alternative for f in run.infer(pack, case(slots))[PROVISIONAL].firings}
    assert fired == {"BOTH", "NEXT", "SURE"}
