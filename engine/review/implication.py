"""When one condition entails another: what every comparison of rules rests on.

Bound: conditions are compared pattern by pattern, over the vocabulary's own values and parts; what a derived
fact rests on is not unfolded. So what is found is true, and silence proves nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from ..model.catalogue import Derived, FactSpec, Operation, Test, Value
from ..model.places import expand
from ..model.program import Program
from ..model.rule import INHERITED, STRENGTHS, Alternative, Pattern, Rule

Group = Sequence[Pattern]
Names = Mapping[str, str]
Item = tuple[str, str, str]


def patterns(a: Alternative) -> tuple[Pattern, ...]:
    """All that must hold for an alternative, dates and the pack's own condition included."""
    return (*a.ground, *a.records)


def by_rule(program: Program) -> dict[str, list[Alternative]]:
    """The alternatives of each rule."""
    found: dict[str, list[Alternative]] = {}
    for a in program.alternatives:
        found.setdefault(a.rule.id, []).append(a)
    return found


def reach(pattern: Pattern, program: Program) -> frozenset[str]:
    """The ids whose records can meet a pattern."""
    given = pattern.subjects
    if pattern.kind in ("touched", "damaged"):
        parts = [program.parts[p] for p in given or program.parts]
        if pattern.relation:
            wanted = frozenset(pattern.systems or program.systems)
            parts = [p for p in parts if getattr(p, pattern.relation) & wanted]
        return frozenset(p.id for p in parts)
    if pattern.kind in ("result", "planned", "procedure"):
        kinds = pattern.kinds
        return frozenset(
            o for o in given or program.operations if not kinds or program.operations[o].kind in kinds
        )
    return frozenset(given or program.systems)


def test_entails(strong: Test, weak: Test, spec: FactSpec | None) -> bool:
    """Whether all values that pass `strong` pass `weak`; without a spec both are sets of words."""
    if strong.op == weak.op and set(strong.values) == set(weak.values):
        return True
    if "not_known" in (strong.op, weak.op):
        return False
    if weak.op == "some":
        return strong.op != "none_of"
    if spec is not None and spec.type == "choice":
        return _choices(strong, spec) <= _choices(weak, spec)
    if strong.op != weak.op:
        return False
    if strong.op == "any_of":
        return set(strong.values) <= set(weak.values)
    if strong.op == "none_of":
        return set(weak.values) <= set(strong.values)
    a, b = float(strong.values[0]), float(weak.values[0])
    return a >= b if strong.op == "at_least" else a <= b


def _choices(test: Test, spec: FactSpec) -> set[Value]:
    """The answers to a one-answer fact that pass; the empty word stands for a known "nothing"."""
    every: set[Value] = {*spec.values, ""}
    return {"any_of": every & set(test.values), "none_of": every - set(test.values)}.get(
        test.op, every - {""}
    )


def clash(tests: Iterable[Test], spec: FactSpec) -> bool:
    """Whether no answer to a fact passes all the tests."""
    tests = [t for t in tests if t.op != "not_known"]
    if spec.type == "choice":
        return bool(tests) and not set.intersection(*(_choices(t, spec) for t in tests))
    if spec.type == "set":
        banned = {v for t in tests if t.op == "none_of" for v in t.values}
        return any(t.op == "any_of" and set(t.values) <= banned for t in tests)
    low = max((float(t.values[0]) for t in tests if t.op == "at_least"), default=float("-inf"))
    return low >= min((float(t.values[0]) for t in tests if t.op == "below"), default=float("inf"))


def contradiction(group: Group, program: Program) -> list[Pattern]:
    """Patterns of a conjunction that exclude each other by the answers to one fact; [] when none do."""
    by_fact: dict[str, list[Pattern]] = {}
    for p in group:
        if p.kind == "fact":
            by_fact.setdefault(p.subjects[0], []).append(p)
    for fact, found in by_fact.items():
        if clash((p.test for p in found if p.test), program.facts[fact]):
            return found
    return []


def entails(strong: Pattern, weak: Pattern, program: Program) -> bool:
    """Whether a match of `strong` is always a match of `weak`, names aside."""
    if strong.kind != weak.kind:
        return False
    if strong.kind == "severity":
        return int(strong.subjects[0]) >= int(weak.subjects[0])
    if not reach(strong, program) <= reach(weak, program):
        return False
    if strong.test and weak.test:
        spec = program.facts[strong.subjects[0]] if strong.kind == "fact" else None
        if not test_entails(strong.test, weak.test, spec):
            return False
    if not weak.place or weak.place.startswith("$"):
        return True
    inside = bool(strong.place) and not strong.place.startswith("$")
    return inside and set(expand(strong.place, "corner")) <= set(expand(weak.place, "corner"))


def group_entails(strong: Group, weak: Group, program: Program) -> bool:
    """Whether a conjunction without names always brings another."""
    return all(any(entails(s, w, program) for s in strong) for w in weak)


def whenever(special: Alternative, general: Alternative, program: Program) -> Names | None:
    """If `general` holds whenever `special` does: how its names map to those of `special`; else None."""
    for group in general.unless:
        never = contradiction((*patterns(special), *group), program)
        if not never and not any(group_entails(group, own, program) for own in special.unless):
            return None
    return next(_maps(patterns(general), patterns(special), {}, program), None)


def _maps(wanted: Group, given: Group, names: Names, program: Program) -> Iterator[Names]:
    if not wanted:
        yield names
        return
    for pattern in given:
        if entails(pattern, wanted[0], program):
            bound = _bind(wanted[0], pattern, names)
            if bound is not None:
                yield from _maps(wanted[1:], given, bound, program)


def _bind(weak: Pattern, strong: Pattern, names: Names) -> Names | None:
    """Names of the weak pattern as the strong one fills them; what it leaves open equals nothing else."""
    bound, open_ = dict(names), f"?{id(strong)}"
    one = strong.subjects[0] if len(strong.subjects) == 1 else open_
    system = strong.systems[0] if len(strong.systems) == 1 else open_
    for name, value in (
        (weak.variable, strong.variable or one),
        (
            weak.relation_variable,
            (strong.relation_variable or system) if strong.relation == weak.relation else open_,
        ),
        (weak.place, strong.place or open_),
    ):
        if name.startswith("$") and bound.setdefault(name, value) != value:
            return None
    return bound


def items(a: Alternative, program: Program, verb: str = "", names: Names | None = None) -> frozenset[Item]:
    """What an alternative does (with one verb), an entry per subject; names mapped, places where kept."""
    names, found = names or {}, set[Item]()
    for effect in (e for e in a.effects if e.verb == verb or not verb):
        shelf: Mapping[str, Derived | Operation] = (
            program.derived if effect.verb == "conclude" else program.operations
        )
        for written in effect.subjects:
            subject = names.get(written, written)
            if effect.verb == "severity":
                found |= {(effect.verb, str(n), "") for n in range(1, int(subject) + 1)}
                continue
            sided = subject not in shelf or shelf[subject].per != "vehicle"
            found.add((effect.verb, subject, names.get(effect.place, effect.place) or "all" if sided else ""))
    return frozenset(found)


def includes(all_: frozenset[Item], verb: str, subject: str, place: str) -> bool:
    """Whether effects include one at its place, or at every place."""
    return (verb, subject, place) in all_ or (verb, subject, "all") in all_


def no_weaker(one: Rule, other: Rule) -> bool:
    """Whether a rule is never weaker than another whose conditions include its own."""
    if one.strength == INHERITED:
        return other.strength in (INHERITED, STRENGTHS[0])
    if other.strength == INHERITED:
        return one.strength == STRENGTHS[-1]
    return STRENGTHS.index(one.strength) >= STRENGTHS.index(other.strength)
