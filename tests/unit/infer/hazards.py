"""What is known to go wrong in the rules library, put to our driver. Each function runs in a process of its own.

A crash, an endless loop or a wrong firing here means that the driver left the verified part of the library's
language. Expected sets come from the independent check.
"""

from __future__ import annotations

import gc
import itertools
import sys
from pathlib import Path
from typing import Any

from knockon.engine.diagnostics.message import InferenceFault, InputError
from knockon.engine.infer import run
from knockon.engine.infer.check import certify, fixpoints
from knockon.engine.infer.compile import fnv
from knockon.engine.infer.rules_engine import RulesEngine
from knockon.engine.model.case import Case, State
from knockon.engine.model.outcome import FIRM, POSSIBLE, Record
from knockon.engine.model.program import Program
from knockon.engine.model.rule import Effect, Pattern
from small_packs import (
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


def agree(engine: RulesEngine, pack: Program, given: Case) -> int:
    """The engine finds what the check finds, in all passes; the number of firings."""
    fast, slow = engine.fixpoints(given), fixpoints(pack, given)
    for standing, fixpoint in slow.items():
        assert len(fast[standing].firings) == len(set(fast[standing].firings)), "a firing came twice"
        assert set(fast[standing].firings) == set(fixpoint.firings), standing
        assert fast[standing].made == fixpoint.made, standing
    certify(pack, given, fast)
    return sum(len(f.firings) for f in slow.values())


def both(pack: Program, given: Case) -> int:
    """The same with a fresh engine."""
    return agree(RulesEngine(pack), pack, given)


def no_firing_in_the_first_case() -> None:
    pack = program(rule("R1", [touched("p")], plan("o")), parts={"p": ("",)})
    engine = RulesEngine(pack)
    for _ in range(200):
        assert agree(engine, pack, case({("touched", "p", ""): "rr"})) == 0
    assert agree(engine, pack, case({("touched", "p", ""): "ri"})) == 3


def no_record_at_all() -> None:
    """A case that tells the engine nothing has no state, neither before nor after one that has."""
    pack = program(rule("R1", [touched("p"), derived("d")], plan("o")), parts={"p": ("",)})
    engine = RulesEngine(pack)
    for slots in ({}, {("touched", "p", ""): "ri"}, {}, {("fact", "x"): "y"}):
        assert agree(engine, pack, case(slots)) == 0


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
    try:
        RulesEngine(program(*rules, parts={"p": ("",)}))
    except InputError as error:
        assert [m.code for m in error.messages.errors][0] == "KN240"
    else:
        raise AssertionError("8005 conditions on one kind were accepted")


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


def the_agenda_starts_again_after_it_ran_dry() -> None:
    """Six strata; in some of them nothing fires, in some nothing had been told before."""
    rules = [rule("R0", [touched("p")], conclude("d0"))]
    for i in range(1, 6):
        rules.append(rule(f"R{i}", [], conclude(f"d{i}"), unless=[[derived(f"d{i - 1}")]]))
        rules.append(
            rule(f"J{i}", [touched("$p", "$s"), damaged("$p", "$s")], plan("o"), unless=[[derived(f"d{i}")]])
        )
        rules.append(rule(f"E{i}", [derived(f"d{i}"), touched("p")], plan("o")))
    pack = program(*rules, parts={"p": ("left", "right"), "q": ("left",)})
    assert pack.strata == 7
    engine = RulesEngine(pack)
    left, right, broken = ("touched", "p", "left"), ("touched", "p", "right"), ("damaged", "p", "right")
    fired = set()
    for answers in itertools.product(("", "ri"), ("", "ri"), ("", "broken")):
        given = case(dict(zip((left, right, broken), answers, strict=True)))
        fired.add(agree(engine, pack, given))
        opened = {s: State(None, state.known or frozenset()) for s, state in given.slots.items()}
        agree(engine, pack, case(opened))
    assert len(fired) > 2


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
    raise AssertionError


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


class Breaking:
    """The library's core, with an error at one of its calls."""

    def __init__(self, core: Any, at: int, error: BaseException) -> None:
        self.core, self.left, self.error = core, at, error

    def __getattr__(self, name: str) -> Any:
        return getattr(self.core, name)

    def assert_fact(self, *args: Any) -> Any:
        self.left -= 1
        if self.left == 0:
            raise self.error
        return self.core.assert_fact(*args)


def an_error_in_the_middle_of_a_case() -> None:
    """Wherever it strikes, that case fails by name and the next one is right."""
    rules = [rule("R", [touched("$p", "$s"), damaged("$p", "$s")], conclude("d"), plan("o"))]
    rules += [rule("C", [derived("d")], plan("o")), rule("U", [], plan("o"), unless=[[derived("d")]])]
    pack = program(*rules, parts={"p": ("left", "right")})
    given = case(
        {(k, "p", s): w for s in ("left", "right") for k, w in (("touched", "ri"), ("damaged", "broken"))}
    )
    engine = RulesEngine(pack)
    core = engine.core
    for error in (RuntimeError("no more"), core.error("303"), KeyboardInterrupt()):
        struck = 0
        for at in range(1, 8):
            engine.core = Breaking(core, at, error)
            try:
                engine.fixpoints(given)
            except InferenceFault as fault:
                struck += "the rules engine failed" in fault.text
            except KeyboardInterrupt:
                struck += 1
            engine.core = core
            assert agree(engine, pack, given) == 9
            assert agree(engine, pack, case()) == 3
        assert struck == 6, struck


def a_refused_record_is_a_fault() -> None:
    """A result code that means `not stored` is never passed over."""
    pack = program(rule("R", [touched("p")], plan("o")), parts={"p": ("",)})
    engine = RulesEngine(pack)
    core = engine.core
    real = Breaking(core, -1, RuntimeError())
    real.assert_fact = lambda *args: (2, core.assert_fact(*args)[1])  # type: ignore[method-assign]
    engine.core = real
    try:
        engine.fixpoints(case({("touched", "p", ""): "ri"}))
    except InferenceFault as fault:
        assert "code 2" in fault.text
    else:
        raise AssertionError("a lost record passed unseen")
    engine.core = core
    assert agree(engine, pack, case({("touched", "p", ""): "ri"})) == 3


def rss() -> int:
    """Resident memory in bytes."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096


def memory_stays_flat() -> None:
    """3000 cases of one engine, with joins, chains and strata, and no growth worth the name."""
    rules = [rule(f"R{i}", [touched("$p", "$s"), damaged("$p", "$s")], conclude(f"d{i}")) for i in range(12)]
    rules += [
        rule(f"C{i}", [derived(f"d{i}")], plan("o"), unless=[[derived(f"d{i - 1}")]]) for i in range(1, 6)
    ]
    pack = program(*rules, parts={f"p{i}": ("left", "right") for i in range(4)})
    engine = RulesEngine(pack)
    given = [
        case(
            {
                ("touched", f"p{i}", "left"): "ri",
                ("damaged", f"p{i}", "left"): "broken",
                ("touched", "p0", "right"): State(None),
            }
        )
        for i in range(4)
    ]
    for i in range(500):
        engine.fixpoints(given[i % 4])
    gc.collect()
    before = rss()
    for i in range(3000):
        engine.fixpoints(given[i % 4])
    gc.collect()
    assert rss() < before * 1.05, (before, rss())


def engines_go_with_their_programs() -> None:
    """Trying many packs in one process keeps neither the packs nor their rule sets."""
    given = case({("touched", "p", ""): "ri"})
    for _ in range(50):
        pack = program(*(rule(f"R{i}", [touched("p")], plan("o")) for i in range(30)), parts={"p": ("",)})
        assert len(run.infer(pack, given)[FIRM].firings) == 30
        del pack
    gc.collect()
    assert len(run.ENGINES) <= 1


def two_engines_side_by_side() -> None:
    """Cases of two programs in turn do not meet."""
    first = program(rule("R", [touched("p")], plan("o")), parts={"p": ("",)})
    second = program(rule("R", [damaged("p")], plan("o")), parts={"p": ("",)})
    one, two = RulesEngine(first), RulesEngine(second)
    for _ in range(50):
        given = case({("touched", "p", ""): "ri"})
        assert (agree(one, first, given), agree(two, second, given)) == (3, 0)


def a_name_twice_in_one_pattern() -> None:
    """A pattern that uses one name for part and system meets the part that carries a system of its own name."""
    pattern = Pattern("touched", (), "$x", touched().test, "carries", (), "$x")
    pack = program(
        rule("R", [pattern], plan("o")),
        parts={"a": ("",), "b": ("",)},
        carries={"a": ["a", "b"], "b": ["a"]},
        systems=("a", "b"),
    )
    try:
        fired = both(pack, case({("touched", "a", ""): "ri", ("touched", "b", ""): "ri"}))
    except InputError as error:
        assert [m.code for m in error.messages.errors] == ["KN240"]
    else:
        assert fired == 3


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
    for said in (
        {},
        {("fitted", "s"): "yes"},
        {("fitted", "s"): "no"},
        {("fitted", "s"): State(None, frozenset(("yes",)))},
    ):
        assert both(pack, case({("fact", "f"): "x"} | said)) == 9
    outcome = run.infer(pack, case({("fact", "f"): "x", ("fitted", "s"): "no"}))
    assert outcome.contradictions == ("s",)
    assert Record("fitted", "s") in outcome[POSSIBLE].made


if __name__ == "__main__":
    globals()[sys.argv[1]]()
