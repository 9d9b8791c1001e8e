"""What a rule lacks: nothing exactly when it has a match, and never more than needs to change."""

from __future__ import annotations

from knockon.engine.infer.check import matches
from knockon.engine.infer.lacking import APART, BLOCKED, UNMET, lacking, settled
from knockon.engine.infer.run import infer
from knockon.engine.model.outcome import BIT, FIRM, PROVISIONAL, STANDINGS
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from random_cases import random_case
from random_packs import random_program
from small_packs import case, damaged, fact, plan, program, rule, touched


def kinds(pack: Program, slots: dict[tuple[str, ...], str]) -> list[str]:
    """The kinds of what the first rule lacks."""
    given = case(slots)
    world = settled(pack, given, infer(pack, given))
    return [lack.kind for lack in lacking(pack.alternatives[0], world, PROVISIONAL)]


def test_nothing_is_lacking_exactly_when_there_is_a_match() -> None:
    lacked = matched = 0
    for seed in range(60):
        pack = random_program(seed, 15)
        given = random_case(pack, seed)
        outcome = infer(pack, given, alone=True)
        world = settled(pack, given, outcome)
        for standing in STANDINGS:
            for a in pack.alternatives:
                fires = any(mask & BIT[standing] for _, _, mask in matches(a, world))
                assert fires == (lacking(a, world, standing) == ()), (seed, a.id)
                lacked, matched = lacked + (not fires), matched + fires
    assert min(lacked, matched) > 200


def test_what_is_lacking_is_enough() -> None:
    """Without the conditions it names, the rule fires."""
    for seed in range(60):
        pack = random_program(seed, 15)
        given = random_case(pack, seed)
        world = settled(pack, given, infer(pack, given, alone=True))
        for a in pack.alternatives:
            gone = [
                p for lack in lacking(a, world, PROVISIONAL) if lack.kind != BLOCKED for p in lack.patterns
            ]
            groups = [lack.patterns for lack in lacking(a, world, PROVISIONAL) if lack.kind == BLOCKED]
            rest = replace(
                a,
                ground=tuple(p for p in a.ground if not any(p is g for g in gone)),
                records=tuple(p for p in a.records if not any(p is g for g in gone)),
                unless=tuple(g for g in a.unless if g not in groups),
            )
            assert any(mask & BIT[PROVISIONAL] for _, _, mask in matches(rest, world)), (seed, a.id)


def test_each_kind_of_lack() -> None:
    pack = program(
        rule("R", [touched("$p", "$s"), damaged("$p", "$s")], plan("o"), unless=[[fact("f", "x")]]),
        parts={"p": ("left", "right")},
        facts={"f": {"x": ""}},
    )
    left, right = ("touched", "p", "left"), ("damaged", "p", "right")
    assert kinds(pack, {left: "ri"}) == [UNMET]
    assert kinds(pack, {left: "ri", right: "broken"}) == [APART]
    assert kinds(pack, {left: "ri", ("damaged", "p", "left"): "broken", ("fact", "f"): "x"}) == [BLOCKED]
    assert kinds(pack, {left: "ri", ("damaged", "p", "left"): "broken"}) == []
    assert len(infer(pack, case({left: "ri"}))[FIRM].firings) == 0
