"""From firings to lines: strength along chains, what drop takes off, systems that are not there."""

from __future__ import annotations

import pytest
from knockon.engine.infer.lines import Found, find_lines, strengths
from knockon.engine.infer.run import infer
from knockon.engine.model.case import Case, State
from knockon.engine.model.outcome import FIRM, POSSIBLE, PROVISIONAL, Fixpoint, Record
from knockon.engine.model.program import Program
from knockon.engine.model.rule import INHERITED, Effect
from small_packs import ASSUMED, case, conclude, derived, fact, fitted, plan, program, rule, touched

REQUIRED, UNLESS, CHECK = "required", "unless_procedure", "check_whether"
RED = {"f": {"red": "", "blue": ""}, "g": {"yes": ""}}


def found(pack: Program, given: Case) -> Found:
    """The lines of a case."""
    return find_lines(pack, given, infer(pack, given))


def test_a_chain_is_as_strong_as_its_weakest_link() -> None:
    pack = program(
        rule("A", [fact("f", "red")], conclude("a"), strength=CHECK),
        rule("B", [fact("f", "red")], conclude("b"), strength=REQUIRED),
        rule("C", [derived("a"), derived("b")], plan("o"), strength=INHERITED),
        facts=RED,
    )
    assert found(pack, case({("fact", "f"): "red"})).lines["o", ""].strength == CHECK


def test_a_line_is_as_strong_as_its_strongest_whole_support() -> None:
    pack = program(
        rule("A", [fact("f", "red")], conclude("a"), strength=CHECK),
        rule("B", [fact("f", "red")], conclude("b"), strength=UNLESS),
        rule("C", [derived("a")], plan("o"), strength=INHERITED),
        rule("D", [derived("b")], plan("o"), strength=INHERITED),
        rule("E", [fact("f", "red")], plan("p"), strength=UNLESS),
        rule("G", [fact("g", "yes")], plan("p"), strength=REQUIRED),
        facts=RED,
    )
    lines = found(pack, case({("fact", "f"): "red"})).lines
    assert lines["o", ""].strength == UNLESS
    assert {f.alternative for f in lines["o", ""].firings} == {"C", "D"}
    assert lines["p", ""].strength == UNLESS
    assert found(pack, case({("fact", "f"): "red", ("fact", "g"): "yes"})).lines["p", ""].strength == REQUIRED


def test_a_fixed_strength_does_not_inherit() -> None:
    pack = program(
        rule("A", [fact("f", "red")], conclude("a"), strength=CHECK),
        rule("B", [derived("a")], plan("o"), strength=REQUIRED),
        facts=RED,
    )
    assert found(pack, case({("fact", "f"): "red"})).lines["o", ""].strength == REQUIRED


def test_strength_settles_on_rings_of_conclusions() -> None:
    """a and b conclude each other; the strongest way in decides for both."""
    pack = program(
        rule("A", [fact("f", "red")], conclude("a"), strength=CHECK),
        rule("B", [fact("f", "red")], conclude("b"), strength=UNLESS),
        rule("C", [derived("a")], conclude("b"), strength=INHERITED),
        rule("D", [derived("b")], conclude("a"), strength=INHERITED),
        facts=RED,
    )
    outcome = infer(pack, case({("fact", "f"): "red"}))
    assert strengths(pack, outcome[FIRM]).records == {Record("derived", d): UNLESS for d in "ab"}


def test_nothing_fired_has_no_strength() -> None:
    pack = program(rule("A", [fact("f", "red")], plan("o")), facts=RED)
    empty = strengths(pack, Fixpoint((), frozenset()))
    assert (dict(empty.inherited), dict(empty.records)) == ({}, {})


def test_a_line_can_be_certain_at_one_strength_and_assumed_at_another() -> None:
    pack = program(
        rule("A", [fact("f", "red")], plan("o"), strength=CHECK),
        rule("B", [fact("g", "yes")], plan("o"), strength=REQUIRED),
        facts=RED,
    )
    line = found(pack, case({("fact", "f"): "red", ("fact", "g"): ASSUMED})).lines["o", ""]
    assert (line.standing, line.strength, line.firm_as) == (PROVISIONAL, REQUIRED, CHECK)
    line = found(pack, case({("fact", "f"): "red", ("fact", "g"): State(None)})).lines["o", ""]
    assert (line.standing, line.strength, line.firm_as) == (FIRM, CHECK, CHECK)


@pytest.mark.parametrize(
    ("state", "standing"),
    [
        (State(frozenset(("yes",))), FIRM),
        (ASSUMED, PROVISIONAL),
        (State(None), POSSIBLE),
        (State(frozenset()), ""),
    ],
)
def test_three_standings_and_none(state: State, standing: str) -> None:
    pack = program(rule("A", [fact("g", "yes")], plan("o")), facts=RED)
    lines = found(pack, case({("fact", "g"): state})).lines
    assert [line.standing for line in lines.values()] == ([standing] if standing else [])


def dropping(strength: str) -> Program:
    """A line of some strength, and a rule that takes it off."""
    return program(
        rule("A", [], plan("o"), strength=strength),
        rule("D", [fact("g", "yes")], Effect("drop", ("o",))),
        facts=RED,
    )


def test_drop_takes_off_what_is_not_required() -> None:
    result = found(dropping(UNLESS), case({("fact", "g"): "yes"}))
    assert result.lines == {}
    dropped = result.dropped["o", ""]
    assert [f.alternative for f in dropped.asked] == ["A"]
    assert [f.alternative for f in dropped.dropped] == ["D"]
    assert found(dropping(REQUIRED), case({("fact", "g"): "yes"})).lines["o", ""].strength == REQUIRED


def test_an_unsure_drop_leaves_the_line_in_view() -> None:
    """Not firm, because it may go; not gone, because it may stay."""
    assumed = found(dropping(UNLESS), case({("fact", "g"): ASSUMED}))
    assert assumed.lines["o", ""].standing == POSSIBLE
    assert "D" in {f.alternative for f in assumed.dropped["o", ""].dropped}
    left = found(dropping(UNLESS), case({("fact", "g"): State(None)}))
    assert left.lines["o", ""].standing == PROVISIONAL


def test_an_operation_needs_one_of_its_systems() -> None:
    pack = program(rule("A", [], plan("o")), systems=("s", "t"), operations={"o": ("s", "t")})
    none = found(pack, case({("fitted", "s"): "no", ("fitted", "t"): "no"}))
    assert (none.lines, none.dropped["o", ""].not_fitted) == ({}, ("s", "t"))
    assert found(pack, case({("fitted", "s"): "yes"})).lines["o", ""].standing == FIRM
    assert found(pack, case({("fitted", "s"): ASSUMED})).lines["o", ""].standing == PROVISIONAL


def test_a_system_prescribed_by_law_is_there_until_the_case_denies_it() -> None:
    pack = program(
        rule("L", [fact("f", "red")], Effect("fits", ("s",))),
        rule("A", [fitted("s")], plan("o")),
        operations={"o": ("s",)},
        by_law=("s",),
        facts=RED,
    )
    by_law = found(pack, case({("fact", "f"): "red", ("fitted", "s"): ASSUMED}))
    assert by_law.lines["o", ""].standing == FIRM
    denied = case({("fact", "f"): "red", ("fitted", "s"): "no"})
    outcome = infer(pack, denied)
    assert outcome.contradictions == ("s",)
    assert find_lines(pack, denied, outcome).lines["o", ""].standing == PROVISIONAL


def test_lines_are_kept_by_place() -> None:
    pack = program(
        rule("A", [touched("$p", "$s")], plan("o", "$s"), Effect("plan", ("c",), "left")),
        parts={"p": ("front_left", "rear_right"), "q": ("front",)},
        per={"o": "side", "c": "corner"},
    )
    one = found(pack, case({("touched", "p", "front_left"): "ri"})).lines
    assert sorted(one) == [("c", "front_left"), ("c", "rear_left"), ("o", "left")]
    both = found(pack, case({("touched", "q", "front"): "ri"})).lines
    assert {place for operation, place in both if operation == "o"} == {"left", "right"}


def test_makers_stand_in_one_order_whichever_way_they_were_found() -> None:
    """Over several rules, and over matches that bind other names and make the same."""
    pack = program(
        rule("B", [fact("f", "red")], plan("o")),
        rule("A", [touched("$p", "$s")], plan("o", "$s")),
        parts={"p": ("front_left", "rear_left", "rear_right")},
        per={"o": "side"},
        facts=RED,
    )
    touches = {("touched", "p", place): "ri" for place in ("rear_left", "front_left", "rear_right")}
    fixpoint = infer(pack, case({("fact", "f"): "red", **touches}))[FIRM]
    turned = Fixpoint(fixpoint.firings[::-1], fixpoint.made)
    there, back = strengths(pack, fixpoint).makers, strengths(pack, turned).makers
    left = there[Record("planned", "o", "left")]
    assert left == back[Record("planned", "o", "left")] == tuple(sorted(set(left)))
    assert [(f.alternative, *(r.place for r in f.records)) for f in left][:2] == [
        ("A", "front_left"),
        ("A", "rear_left"),
    ]
    assert there.get(Record("planned", "p")) == ()
