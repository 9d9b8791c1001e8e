"""What the check keeps of a program: equal patterns share a number, others never; strangers are not kept."""

from __future__ import annotations

from dataclasses import replace

import pytest
from knockon.engine.infer.check import World, effects, matches
from knockon.engine.infer.lookup import lookup
from knockon.engine.model import catalogue
from knockon.engine.model.outcome import ALL, Record
from knockon.engine.model.program import Program
from knockon.engine.model.record import field_names
from knockon.engine.model.rule import Pattern
from knockon.engine.model.span import Span
from small_packs import case, plan, program, rule, touched

ONE = Pattern(
    "touched", ("p",), "$p", catalogue.Test("any_of", ("ri",), "b.c"), "near", ("s",), "$x", ("scan",), "left"
)
OTHER = {
    "kind": "damaged",
    "subjects": ("q",),
    "variable": "$q",
    "test": catalogue.Test("any_of", ("rr",)),
    "relation": "carries",
    "systems": ("t",),
    "relation_variable": "$y",
    "kinds": ("aim",),
    "place": "$side",
}


def pack() -> Program:
    """One rule that fires when the part is taken off."""
    return program(rule("R", [touched("p", "$s")], plan("o", "$s")), parts={"p": ("",)})


def test_every_field_of_a_pattern_is_tried() -> None:
    assert {*OTHER, "span"} == set(field_names(Pattern))


@pytest.mark.parametrize("name", OTHER)
def test_patterns_that_say_different_things_have_different_numbers(name: str) -> None:
    numbers, changed = lookup(pack()), replace(ONE, **{name: OTHER[name]})  # type: ignore[arg-type]
    assert numbers.number(ONE) != numbers.number(changed)
    assert numbers.number(replace(ONE, test=None)) != numbers.number(
        replace(ONE, test=catalogue.Test("none_of", ("ri",)))
    )


def test_where_it_is_written_makes_no_other_pattern() -> None:
    numbers = lookup(pack())
    elsewhere = replace(ONE, span=Span("other.yaml", 7, 1), test=catalogue.Test("any_of", ("ri",), "d.e"))
    assert elsewhere == ONE
    assert numbers.number(ONE) == numbers.number(elsewhere)


def test_an_alternative_of_another_program_is_looked_at_as_it_is_and_not_kept() -> None:
    small = pack()
    world = World(small, case({("touched", "p", ""): "ri"}), finished=True)
    own = small.alternatives[0]
    assert [(mask, effects(own, tuple(b.values()), world)) for _, b, mask in matches(own, world)] == [
        (ALL, (Record("planned", "o"),))
    ]
    held, stranger = set(lookup(small).bodies), replace(own, records=(), effects=(plan("o"), plan("o")))
    assert [f.records for f, _, _ in matches(stranger, world)] == [()]
    assert effects(stranger, (), world) == (Record("planned", "o"),) * 2
    assert set(lookup(small).bodies) == held
