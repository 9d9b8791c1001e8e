"""What is known to go wrong in the rules library, put to our driver; each function in a process of its own.

A crash, an endless loop or a wrong firing here means that the driver left the verified part of the library's
language. Expected sets come from the independent check.
"""

from __future__ import annotations

import itertools
import sys

import pytest
from knockon.engine.diagnostics.message import InputError
from knockon.engine.infer import run
from knockon.engine.infer.compile import fnv
from knockon.engine.infer.rules_engine import RulesEngine
from knockon.engine.model.case import Case, State
from knockon.engine.model.outcome import POSSIBLE, Record
from knockon.engine.model.program import Program
from knockon.engine.model.rule import Effect, Pattern
from small_packs import (
    agree,
    case,
    conclude,
    damaged,
    derived,
    fact,
    fitted,
    plan,
    program,
    rule,
    touched,
)


def both(pack: Program, given: Case) -> int:
    """The same with a fresh engine."""
    return agree(RulesEngine(pack), pack, given)


def a_false_last_join() -> None:
    """Layout decides whether the library reads beyond its expressions: many layouts, all joins false."""
    for size in range(1, 60):
        rules = [rule(f"R{i}", [touched("$p", "$s"), damaged(f"q{i}", "$s")], plan("o")) for i in range(size)]
        rules += [rule(f"S{i}", [touched("$p", "$s"), damaged("$p", "$s")], plan("o")) for i in range(size)]
        parts = {"p": ("left", "right")} | {f"q{i}": ("front", "rear") for i in range(size)}
        pack = program(*rules, parts=parts)
        slots = {("touched", "p", s): "ri" for s in ("left", "right")}
        slots |= {("damaged", f"q{i}", s): "broken" for i in range(size) for s in ("front", "rear")}
        assert both(pack, case(slots)) == 0


def one_record_meets_two_conditions() -> None:
    pack = program(rule("R1", [touched("$p"), touched("$p"), touched("p")], plan("o")), parts={"p": ("",)})
    assert both(pack, case({("touched", "p", ""): "ri"})) == 3


def many_conditions_on_one_kind(number: int) -> None:
    """All true at once, with and without a join."""
    rules = [rule(f"R{i}", [touched("p"), damaged("p")], plan("o")) for i in range(number)]
    rules += [rule(f"J{i}", [touched("$p"), damaged("$p")], plan("o")) for i in range(number)]
    pack = program(*rules, parts={"p": ("",)})
    given = case({("touched", "p", ""): "ri", ("damaged", "p", ""): "broken"})
    assert both(pack, given) == 3 * 2 * number


def more_than_20_conditions_on_one_kind() -> None:
    for number in (20, 21, 65):
        many_conditions_on_one_kind(number)


def more_than_400_conditions_on_one_kind() -> None:
    """Beyond 255 identical conditions and 400 in all."""
    for number in (256, 401, 700):
        many_conditions_on_one_kind(number)


def more_conditions_than_can_be_told_apart() -> None:
    """Beyond the verified number the compiler refuses at the rule, before the library is asked."""
    pattern = touched("p")
    rules = [rule(f"R{i}", [pattern] * 5, plan("o")) for i in range(1601)]
    with pytest.raises(InputError, match="KN240: more than 8000 conditions"):
        RulesEngine(program(*rules, parts={"p": ("",)}))


def more_than_1000_rules() -> None:
    """1500 rules, 600 values of one kind, joins among them; half of the parts touched."""
    rules = [
        rule(f"R{i}", [touched(f"p{i % 600}", "$s"), damaged("", "$s")], conclude(f"d{i}"))
        for i in range(1200)
    ]
    rules += [rule(f"C{i}", [derived(f"d{i}")], plan("o")) for i in range(300)]
    pack = program(*rules, parts={f"p{i}": ("left",) for i in range(600)})
    slots = {("touched", f"p{i}", "left"): "ri" for i in range(0, 600, 2)} | {
        ("damaged", "p1", "left"): "broken"
    }
    assert both(pack, case(slots)) == 3 * (600 + 150)


def more_marks_than_a_record_may_carry() -> None:
    """400 different patterns that one part meets; 400 open `unless` groups of one stratum."""
    systems = [f"s{i}" for i in range(400)]
    rules = [
        rule(f"R{i}", [touched("", relation="carries", systems=(s,))], plan("o"))
        for i, s in enumerate(systems)
    ]
    rules += [rule(f"U{i}", [], plan("o"), unless=[[derived(f"d{i}")]]) for i in range(400)]
    rules += [rule("D", [fact("f", "x")], *(conclude(f"d{i}") for i in range(0, 400, 2)))]
    pack = program(
        *rules, parts={"p": ("",)}, carries={"p": systems}, systems=systems, facts={"f": {"x": ""}}
    )
    assert both(pack, case({("touched", "p", ""): "ri", ("fact", "f"): "x"})) == 3 * (400 + 200 + 1)
    assert both(pack, case({("touched", "p", ""): "ri"})) == 3 * (400 + 400)


def chained_firings() -> None:
    """Each firing makes the record the next one waits for; 700 kinds of records."""
    rules = [rule("R0", [touched("p")], conclude("d0"))]
    rules += [rule(f"R{i}", [derived(f"d{i - 1}"), touched("p")], conclude(f"d{i}")) for i in range(1, 700)]
    pack = program(*rules, parts={"p": ("",)})
    assert both(pack, case({("touched", "p", ""): "ri"})) == 3 * 700
    assert both(pack, case()) == 0


def blocked_in_the_lowest_stratum() -> None:
    """`unless` on something no rule makes is settled before anything fires."""
    rules = [rule("R1", [], plan("o"), unless=[[derived("d")]])]
    rules += [rule("R2", [touched("p")], plan("o"), unless=[[fitted("s")]])]
    pack = program(*rules, parts={"p": ("",)})
    engine = RulesEngine(pack)
    for slots, firings in (({}, 1), ({("touched", "p", ""): "ri"}, 2)):
        assert agree(engine, pack, case(slots)) == 3 * firings
    assert agree(engine, pack, case({("touched", "p", ""): "ri", ("fitted", "s"): "yes"})) == 3


def strings_with_quotes_and_other_scripts() -> None:
    """Ids with quotes, escapes and other scripts, as they are and joined."""
    odd = [
        'a"b',
        "a\\b",
        "a/b",
        "é",
        "e\u0301",
        "漢字",
        "\n",
        "{}",
        "a,b",
        "']",
        "\x7f",
        " a",
        "a ",
        "s:a",
        "null",
        "1",
    ]
    rules = [
        rule(f"R {o}", [touched(o, "$s"), fitted(variable="$x"), damaged(o, "$s")], conclude(f"d{o}"))
        for o in odd
    ]
    rules += [rule(f"C {o}", [derived(f"d{o}"), fitted(o, variable="")], plan(f"o{o}")) for o in odd]
    rules += [rule("J", [touched("$p"), damaged("$p"), Pattern("planned", (), "$o")], plan("$o"))]
    pack = program(*rules, parts=dict.fromkeys(odd, ("left",)), systems=odd)
    slots = {(k, o, "left"): w for o in odd for k, w in (("touched", "ri"), ("damaged", "broken"))}
    given = case(slots | {("fitted", o): "yes" for o in odd})
    assert both(pack, given) == 3 * (16 * 16 + 16 + 16 * 16)
    first = case(
        {("touched", odd[0], "left"): "ri", ("damaged", odd[1], "left"): "broken", ("fitted", odd[2]): "yes"}
    )
    assert both(pack, first) == 0


def twins(prefix: str) -> tuple[str, str]:
    """Two words that the library's 32-bit hash takes for one once the prefix is put before them."""
    seen: dict[int, str] = {}
    for i in itertools.count():
        word = f"p{i}"
        other = seen.setdefault(fnv(prefix + word), word)
        if other != word:
            return other, word
    raise AssertionError("no twins")


def words_with_one_hash() -> None:
    """Kinds of records, ids and joined values that hash alike are still two."""
    a, b = twins("derived:")
    pack = program(
        rule("A", [derived(a)], plan("o")),
        rule("B", [derived(b)], plan("o")),
        rule("T", [touched("p")], conclude(a)),
        parts={"p": ("",)},
    )
    assert both(pack, case({("touched", "p", ""): "ri"})) == 3 * 2
    a, b = twins("s:")
    rules = [rule("J", [touched("$p"), damaged("$p")], plan("o")), rule("A", [touched(a)], plan("o"))]
    pack = program(*rules, parts={a: ("",), b: ("",)})
    assert both(pack, case({("touched", b, ""): "ri", ("damaged", a, ""): "broken"})) == 0
    assert both(pack, case({("touched", a, ""): "ri", ("damaged", a, ""): "broken"})) == 6


def a_name_twice_in_one_pattern() -> None:
    """A condition cannot be joined with itself in the verified part: refused at the rule."""
    pattern = Pattern("touched", (), "$x", touched().test, "carries", (), "$x")
    with pytest.raises(InputError, match="KN240: `R` uses one name for two things"):
        RulesEngine(program(rule("R", [pattern], plan("o")), parts={"p": ("",)}))


def the_same_record_given_and_made() -> None:
    """A system that the case and the law both name is one system."""
    law = rule("L", [fact("f", "x")], Effect("fits", ("s",)))
    pack = program(
        law,
        rule("R", [fitted("s")], plan("o")),
        rule("V", [fitted(variable="$x")], plan("o")),
        by_law=("s",),
        facts={"f": {"x": ""}},
    )
    sayings: tuple[dict[tuple[str, str], State | str], ...] = (
        {},
        {("fitted", "s"): "yes"},
        {("fitted", "s"): "no"},
        {("fitted", "s"): State(None, frozenset(("yes",)))},
    )
    for said in sayings:
        assert both(pack, case({("fact", "f"): "x", **said})) == 9
    outcome = run.infer(pack, case({("fact", "f"): "x", ("fitted", "s"): "no"}))
    assert outcome.contradictions == ("s",)
    assert Record("fitted", "s") in outcome[POSSIBLE].made


if __name__ == "__main__":
    globals()[sys.argv[1]]()
