"""The check refuses every outcome that is not the fixpoint, and says which rule and pass."""

from __future__ import annotations

import random
from functools import cache

import pytest
from knockon.engine.diagnostics.message import InferenceFault
from knockon.engine.infer.certify import certify, fixpoints
from knockon.engine.model.case import Case, State
from knockon.engine.model.outcome import FIRM, POSSIBLE, PROVISIONAL, STANDINGS, Firing, Fixpoint, Record
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.model.rule import Effect
from random_cases import random_case
from random_packs import random_program
from small_packs import case, conclude, derived, fitted, plan, program, rule, touched

Passes = dict[str, Fixpoint]


@cache
def subjects() -> list[tuple[Program, Case, Passes]]:
    """Random programs and cases that fire enough to spoil."""
    found = []
    for seed in range(60):
        pack = random_program(seed, 12)
        given = random_case(pack, seed)
        passes = fixpoints(pack, given)
        if all(len(f.firings) > 2 for f in passes.values()):
            found.append((pack, given, passes))
    return found


def rule_of(firing: Firing) -> str:
    """The rule a firing belongs to."""
    return firing.alternative.partition("#")[0]


def fault(pack: Program, given: Case, passes: Passes, standing: str, spoilt: Fixpoint) -> InferenceFault:
    """What the check says of passes of which one was spoilt."""
    with pytest.raises(InferenceFault) as raised:
        certify(pack, given, passes | {standing: spoilt})
    return raised.value


def test_the_fixpoint_itself_passes() -> None:
    for pack, given, passes in subjects():
        certify(pack, given, passes)
    assert len(subjects()) > 20


@pytest.mark.parametrize("standing", STANDINGS)
def test_a_firing_left_out(standing: str) -> None:
    rng = random.Random(standing)
    for pack, given, passes in subjects():
        fixpoint = passes[standing]
        gone = rng.choice(fixpoint.firings)
        rest = tuple(f for f in fixpoint.firings if f != gone)
        found = fault(pack, given, passes, standing, replace(fixpoint, firings=rest))
        assert found.alternative == rule_of(gone)
        assert standing in found.text
        assert "did not fire" in found.text


@pytest.mark.parametrize("standing", STANDINGS)
def test_a_firing_too_many(standing: str) -> None:
    """A match that is none: of a rule that could have fired, on records it never met."""
    for pack, given, passes in subjects():
        fixpoint = passes[standing]
        stray = replace(pack.alternatives[0], id="none")
        for wrong in (
            Firing(pack.alternatives[-1].id, (Record("touched", "nothing", "left"),) * 9),
            Firing(stray.id, ()),
        ):
            spoilt = replace(fixpoint, firings=(*fixpoint.firings, wrong))
            found = fault(pack, given, passes, standing, spoilt)
            assert found.alternative == rule_of(wrong)
            assert "without a match" in found.text


def test_the_order_in_which_firings_were_found_is_free() -> None:
    rng = random.Random(5)
    for pack, given, passes in subjects():
        shuffled = {
            s: replace(f, firings=tuple(rng.sample(f.firings, len(f.firings)))) for s, f in passes.items()
        }
        certify(pack, given, shuffled)


@pytest.mark.parametrize("standing", STANDINGS)
def test_a_made_record_left_out(standing: str) -> None:
    """Whatever rested on it is named, or the firing that made it."""
    rng = random.Random(standing)
    for pack, given, passes in subjects():
        fixpoint = passes[standing]
        gone = rng.choice(sorted(fixpoint.made))
        found = fault(pack, given, passes, standing, replace(fixpoint, made=fixpoint.made - {gone}))
        assert found.alternative in pack.rules


def test_a_record_nobody_made() -> None:
    pack = program(rule("R1", [touched("p")], plan("o")), parts={"p": ("",)})
    given = case({("touched", "p", ""): "ri"})
    passes = fixpoints(pack, given)
    extra = Record("planned", "o", "left")
    spoilt = replace(passes[FIRM], made=passes[FIRM].made | {extra})
    assert "planned o left" in fault(pack, given, passes, FIRM, spoilt).text


def test_a_ring_that_only_supports_itself() -> None:
    """Each firing holds and each record has a firing, yet nothing founds them."""
    pack = program(rule("A", [derived("a")], conclude("b")), rule("B", [derived("b")], conclude("a")))
    a, b = Record("derived", "a"), Record("derived", "b")
    ring = Fixpoint((Firing("A", (a,)), Firing("B", (b,))), frozenset((a, b)))
    with pytest.raises(InferenceFault, match="without what it rests on") as raised:
        certify(pack, case(), dict.fromkeys(STANDINGS, ring))
    assert raised.value.alternative == "A"


def test_a_ground_pattern_that_a_rule_meets_after_all() -> None:
    """Linking makes it a record pattern; the check does not rest on that."""
    pack = program(
        rule("B", [fitted("s")], plan("o")),
        rule("A", [touched("p")], Effect("fits", ("s",))),
        parts={"p": ("",)},
    )
    assert pack.alternatives[0].ground
    given = case({("touched", "p", ""): "ri", ("fitted", "s"): "no"})
    passes = fixpoints(pack, given)
    assert passes[FIRM].made == {Record("fitted", "s"), Record("planned", "o")}
    certify(pack, given, passes)


def test_passes_given_to_the_wrong_standing() -> None:
    pack = program(rule("R1", [touched("p")], plan("o")), parts={"p": ("",)})
    given = case({("touched", "p", ""): State(None)})
    passes = fixpoints(pack, given)
    assert (len(passes[FIRM].firings), len(passes[PROVISIONAL].firings), len(passes[POSSIBLE].firings)) == (
        0,
        0,
        1,
    )
    with pytest.raises(InferenceFault, match="firm pass"):
        certify(pack, given, passes | {FIRM: passes[POSSIBLE]})
    with pytest.raises(InferenceFault, match="possible pass"):
        certify(pack, given, passes | {POSSIBLE: passes[FIRM]})
