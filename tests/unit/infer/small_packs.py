"""The smallest programs and cases that say what a test means, built from the model."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from knockon.engine.diagnostics.message import Messages
from knockon.engine.infer.certify import certify, fixpoints
from knockon.engine.infer.rules_engine import RulesEngine
from knockon.engine.load.link import is_record
from knockon.engine.load.strata import stratify
from knockon.engine.model.case import Case, Entry, State
from knockon.engine.model.catalogue import Derived, FactSpec, Operation, Part, System, Test, Value
from knockon.engine.model.program import PackId, Program
from knockon.engine.model.record import replace
from knockon.engine.model.rule import Alternative, Effect, Pattern, Rule

YES: frozenset[Value] = frozenset(("yes",))
ASSUMED = State(None, YES)


def rule(
    id_: str,
    when: Iterable[Pattern],
    *then: Effect,
    unless: Iterable[Sequence[Pattern]] = (),
    strength: str = "required",
) -> Rule:
    """A rule without alternatives."""
    groups = tuple(tuple(g) for g in unless)
    return Rule(id_, "small", id_, tuple(when), groups, then, strength, "because", "", ())


def fact(id_: str, *values: str, place: str = "", op: str = "any_of") -> Pattern:
    """A test of a fact."""
    return Pattern("fact", (id_,), test=Test(op, values), place=place)


def touched(part: str = "", place: str = "", **more: object) -> Pattern:
    """A part taken off and put back; `$p` binds which one."""
    named, variable = ("", part) if part.startswith("$") else (part, "")
    pattern = Pattern("touched", (named,) if named else (), variable, Test("any_of", ("ri",)), place=place)
    return replace(pattern, **more)  # type: ignore[arg-type]


def damaged(part: str = "", place: str = "") -> Pattern:
    """A part that is broken."""
    return replace(touched(part, place), kind="damaged", test=Test("any_of", ("broken",)))


def derived(id_: str, place: str = "") -> Pattern:
    """A derived fact."""
    return Pattern("derived", (id_,), place=place)


def fitted(*systems: str, variable: str = "") -> Pattern:
    """A system that is there."""
    return Pattern("fitted", systems, variable, Test("any_of", ("yes",)))


def conclude(id_: str, place: str = "") -> Effect:
    """The effect that makes a derived fact."""
    return Effect("conclude", (id_,), place)


def plan(id_: str, place: str = "") -> Effect:
    """The effect that asks for an operation."""
    return Effect("plan", (id_,), place)


def program(
    *rules: Rule,
    parts: Mapping[str, tuple[str, ...]] | None = None,
    carries: Mapping[str, Iterable[str]] | None = None,
    systems: Iterable[str] = ("s",),
    operations: Mapping[str, tuple[str, ...]] | None = None,
    per: Mapping[str, str] | None = None,
    facts: Mapping[str, Mapping[str, str]] | None = None,
    by_law: Iterable[str] = (),
) -> Program:
    """A linked program. `operations` name the systems they concern, `per` says how a thing is kept."""
    kept, law = per or {}, frozenset(by_law)
    carried = {id_: frozenset(s) for id_, s in (carries or {}).items()}
    found = [
        Alternative(
            r.id,
            r,
            tuple(p for p in r.when if isinstance(p, Pattern) and not is_record(p, law)),
            tuple(p for p in r.when if isinstance(p, Pattern) and is_record(p, law)),
            r.unless,
            r.then,
            0,
        )
        for r in rules
    ]
    strata = stratify(found, Messages())
    assert strata is not None, "a ring through unless"
    concluded = {s for r in rules for e in r.then if e.verb == "conclude" for s in e.subjects}
    concluded |= {
        s for a in found for g in (a.records, *a.unless) for p in g if p.kind == "derived" for s in p.subjects
    }
    planned = {
        s for r in rules for e in r.then if e.verb in ("plan", "hold", "drop", "void") for s in e.subjects
    }
    needs = {o: () for o in sorted(planned) if not o.startswith("$")} | dict(operations or {"o": ()})
    return Program(
        packs=(PackId("small", "1.0.0", "", "small", "2026-01-01", ""),),
        facts={
            f: FactSpec(f, f, "", "choice", dict.fromkeys(v, ""), v, "", ("intake",), (), (), ())
            for f, v in (facts or {}).items()
        },
        derived={d: Derived(d, d, kept.get(d, "vehicle")) for d in sorted(concluded)},
        systems={s: System(s, s, "", "body", False) for s in systems},
        parts={
            p: Part(p, p, places, "none", (), False, carried.get(p, frozenset()), frozenset(), frozenset())
            for p, places in (parts or {}).items()
        },
        operations={
            o: Operation(o, o, "look", tuple(s), kept.get(o, "vehicle"), "work", (), (), (), (), ())
            for o, s in needs.items()
        },
        phases={"work": "work"},
        preconditions={},
        cautions={},
        events={},
        sources={},
        impossible=(),
        implied=(),
        rules={r.id: r for r in rules},
        overridden={},
        alternatives=tuple(replace(a, stratum=strata[a.id]) for a in found),
        strata=1 + max(strata.values(), default=0),
        labour={},
        limits={},
        scenarios=(),
    )


def case(
    slots: Mapping[Any, State | str] | None = None, results: Mapping[tuple[str, str], str] | None = None
) -> Case:
    """A case; a plain word stands for a known answer."""
    given = {
        slot: state if isinstance(state, State) else State(frozenset(state.split()))
        for slot, state in (slots or {}).items()
    }
    standing = {k: Entry("2026-01-01", k[0], k[1], outcome) for k, outcome in (results or {}).items()}
    for (operation, place), entry in standing.items():
        given["result", operation, place] = State(frozenset((entry.result,)))
    return Case("small", "2026-01-01", {}, given, {}, tuple(standing.values()), standing, ())


def agree(engine: RulesEngine, pack: Program, given: Case) -> int:
    """The engine finds what the check finds, in all passes; the number of firings."""
    fast, slow = engine.fixpoints(given), fixpoints(pack, given)
    for standing, fixpoint in slow.items():
        assert len(fast[standing].firings) == len(set(fast[standing].firings)), "a firing came twice"
        assert set(fast[standing].firings) == set(fixpoint.firings), standing
        assert fast[standing].made == fixpoint.made, standing
    certify(pack, given, fast)
    return sum(len(f.firings) for f in slow.values())
