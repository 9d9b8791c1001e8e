"""A synthetic pack and its cases: what inference costs with nothing of the trade in it.

About 40 attributes, 15 fitted systems of 30, 8 touched parts of 40, two impacts; about one rule in ten fires, one in
ten chains through a derived fact. Everything is known, so that engines without three values can be compared.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.strata import stratify
from knockon.engine.model.case import Case, Slot, State
from knockon.engine.model.catalogue import Derived, FactSpec, Operation, Part, System, Test
from knockon.engine.model.program import PackId, Program
from knockon.engine.model.rule import Alternative, Effect, Pattern, Rule

ATTRIBUTES, VALUES, SYSTEMS, PARTS, OPERATIONS, DERIVED = 40, 4, 30, 40, 60, 20
FITTED, TOUCHED = 15, 8
ZONES = {"front": "front", "rear": "rear", "left": "left", "right": "right"}


def workload(rules: int, tests: int = 3, seed: int = 1) -> Program:
    """A program of so many rules, one alternative each; the fewer tests a rule has, the more rules fire."""
    rng = random.Random(f"workload {seed}")
    values = {f"v{i}": "" for i in range(VALUES)}
    facts = {f"a{i}": _fact(f"a{i}", "choice", values, {}) for i in range(ATTRIBUTES)}
    facts["zone"] = _fact("zone", "set", dict.fromkeys(ZONES, ""), dict(ZONES))
    systems = {f"s{i}": System(f"s{i}", "", "", "body", False) for i in range(SYSTEMS)}
    parts = {f"p{i}": _part(rng, f"p{i}") for i in range(PARTS)}
    operations = {f"o{i}": _operation(f"o{i}", ("vehicle", "end")[i % 2]) for i in range(OPERATIONS)}
    alternatives = [_alternative(rng, i, tests) for i in range(rules)]
    strata = stratify(alternatives, Messages()) or {}
    assert set(strata.values()) == {0}
    return Program(
        packs=(PackId("workload", "1.0.0", "", "", "2026-01-01", ""),),
        facts=facts,
        derived={f"d{i}": Derived(f"d{i}", "", "vehicle") for i in range(DERIVED)},
        systems=systems,
        parts=parts,
        operations=operations,
        phases={"work": "work"},
        preconditions={},
        cautions={},
        events={},
        sources={},
        impossible=(),
        implied=(),
        rules={a.rule.id: a.rule for a in alternatives},
        overridden={},
        alternatives=tuple(alternatives),
        strata=1,
        labour={},
        limits={},
        scenarios=(),
    )


def _fact(id_: str, type_: str, values: dict[str, str], places: dict[str, str]) -> FactSpec:
    return FactSpec(id_, id_, "", type_, values, places, "", ("intake",), (), (), ())


def _part(rng: random.Random, id_: str) -> Part:
    carries = frozenset(f"s{i}" for i in rng.sample(range(SYSTEMS), 2))
    return Part(id_, id_, ("front", "rear"), "none", (), False, carries, frozenset(), frozenset())


def _operation(id_: str, per: str) -> Operation:
    return Operation(id_, id_, "inspect", (), per, "work", (), (), (), (), ())


def _alternative(rng: random.Random, number: int, count: int) -> Alternative:
    tests = [_asks(rng, a) for a in rng.sample(range(ATTRIBUTES), count)]
    verb, subject, place, records = "plan", f"o{rng.randrange(OPERATIONS)}", "", ()
    shape = rng.random()
    if shape < 0.1:
        records = (Pattern("derived", (f"d{rng.randrange(DERIVED)}",)),)
    elif shape < 0.2:
        verb, subject = "conclude", f"d{rng.randrange(DERIVED)}"
    elif shape < 0.35:
        tests[0] = Pattern("fitted", (f"s{rng.randrange(SYSTEMS)}",), test=Test("any_of", ("yes",)))
    elif shape < 0.45:
        wanted = tuple(f"p{i}" for i in rng.sample(range(PARTS), 4))
        records = (Pattern("touched", wanted, test=Test("any_of", ("rr", "ri")), place="$side"),)
        place = "$side"
    elif shape < 0.5:
        zone = Pattern("fact", ("zone",), test=Test("some"), place="$side")
        records = (zone, Pattern("touched", (), test=Test("any_of", ("rr",)), place="$side"))
        place = "$side"
    effect = Effect(verb, (subject,), place)
    rule = Rule(f"W{number}", "workload", "", (), (), (effect,), "required", "", "", ())
    return Alternative(rule.id, rule, tuple(tests), records, (), (effect,), 0)


def _asks(rng: random.Random, attribute: int) -> Pattern:
    values = tuple(f"v{i}" for i in rng.sample(range(VALUES), 2))
    return Pattern("fact", (f"a{attribute}",), test=Test("any_of", values))


def cases(count: int, touched: int = TOUCHED, seed: int = 1) -> Iterator[Case]:
    """Cases of the workload, everything known."""
    for number in range(count):
        rng = random.Random(f"case {seed}/{number}")
        slots: dict[Slot, State] = {
            ("fact", f"a{i}"): _known(f"v{rng.randrange(VALUES)}") for i in range(ATTRIBUTES)
        }
        slots["fact", "zone"] = _known(*rng.sample(sorted(ZONES), 2))
        fitted = rng.sample(range(SYSTEMS), FITTED)
        slots |= {("fitted", f"s{i}"): _known("yes" if i in fitted else "no") for i in range(SYSTEMS)}
        for i in rng.sample(range(PARTS), touched):
            slots["touched", f"p{i}", rng.choice(("front", "rear"))] = _known(rng.choice(("rr", "ri")))
        yield Case(f"w{number}", "2026-01-01", {}, slots, {}, (), {}, ())


def _known(*values: str) -> State:
    return State(frozenset(values))
