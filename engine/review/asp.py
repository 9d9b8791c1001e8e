"""From a program to a logic program: the same rules, and every fully known case the vocabulary can express.

`in(kind, subject, place, value)` is an answer; `m(kind, subject, place, level)` a record made with at least
that strength (1 check_whether .. 3 required); `on(operation, place, level)` a line of the plan.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence

from ..load.slots import holds
from ..model.case import Slot
from ..model.catalogue import Test, Value, after_ids
from ..model.places import KEPT_BY, PLACES, expand, meets
from ..model.program import Program
from ..model.record import dataclass, field
from ..model.rule import INHERITED, STRENGTHS, Alternative, Claim, Effect, Pattern
from .domains import Domain

MADE = ("derived", "severity", "planned")
VERBS = {"plan": "planned", "conclude": "derived", "fits": "fitted"}
FIXED = """
on(O,P,L) :- m("planned",O,P,L), there(O), not m("drop",O,P,1).
on(O,P,L) :- m("planned",O,P,L), m("planned",O,P,3), there(O).
there(O) :- part_of(O,S), in("fitted",S,"","yes").
has(O,L) :- on(O,_,L).
held(O) :- m("hold",O,_,1).
:- m("fitted",S,_,_), not in("fitted",S,"","yes").
first(A,P,B,Q) :- wanted(A), on(A,P,1), on(B,Q,1), after(B,A), meet(P,Q).
first(A,P,B,Q) :- first(A,P,C,R), on(B,Q,1), after(B,C), meet(R,Q).
{in(K,S,P,V)} :- may(K,S,P,V).
:- single(K,S,P), #count{V : in(K,S,P,V)} > 1.
:- must(K,S,P), not in(K,S,P,_).
odd(K,S,P) :- in(K,S,P,V), not clear(K,S,P,V).
odd(K,S,P) :- clear(K,S,P,V), not in(K,S,P,V).
#minimize {1@2,K,S,P : odd(K,S,P); 1@1,K,S,P,V : in(K,S,P,V), not clear(K,S,P,V)}.
"""


def q(word: object) -> str:
    """A word as a quoted term."""
    return json.dumps(str(word), ensure_ascii=False)


def atom(slot: Slot, value: Value) -> str:
    """The answer atom of a slot's value."""
    kind, subject, place = (*slot, "")[:3]
    return f"in({q(kind)},{q(subject)},{q(place)},{q(value)})"


@dataclass(slots=True)
class Translation:
    """The text of a logic program, and the number of each pattern and `unless` group in it."""

    program: Program
    domains: list[Domain]
    lines: list[str] = field(default_factory=lambda: [FIXED])
    numbers: dict[tuple[Pattern, bool], int] = field(default_factory=dict)
    values: Mapping[str, tuple[Value, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.values = {d.slot[1]: d.values for d in self.domains if d.slot[0] == "fact"}
        self._catalogue()
        for i, a in enumerate(self.program.alternatives):
            self._rule(i, a)

    @property
    def text(self) -> str:
        """The whole logic program."""
        return "\n".join(self.lines)

    def bound(self, kind: str, most: int) -> None:
        """At most so many slots of a kind hold anything."""
        self.lines.append(f":- #count{{S,P : odd({q(kind)},S,P)}} > {most}.")

    def promise(self, name: str, alternatives: Iterable[Alternative], claims: Iterable[Claim]) -> None:
        """`broken(name)` holds in the cases where some claim fails."""
        for a in alternatives:
            body = self._body(a, "1", on_plan=True)
            for claim in claims:
                for operation in claim.operations[:1] if claim.verb == "before" else claim.operations:
                    failed = self._failed(claim, operation)
                    self.lines.append(f"broken({q(name)}) :- {', '.join((*body, *failed))}.")

    def _failed(self, claim: Claim, operation: str) -> tuple[str, ...]:
        o, level = q(operation), STRENGTHS.index(claim.strength) + 1
        if claim.verb == "before":
            second = q(claim.operations[1])
            self.lines.append(f"wanted({o}).")
            return (f"on({o},A,1)", f"on({second},B,1)", "meet(A,B)", f"not first({o},A,{second},B)")
        if not claim.place:
            return {
                "planned": (f"not has({o},{level})",),
                "held": (f"not held({o})",),
                "not_planned": (f"has({o},1)",),
            }[claim.verb]
        where = f"exp({_term(claim.place)},{q(self.program.operations[operation].per)},Q)"
        last = {
            "planned": f"not on({o},Q,{level})",
            "held": f'not m("hold",{o},Q,1)',
            "not_planned": f"on({o},Q,1)",
        }
        return (where, last[claim.verb])

    def _catalogue(self) -> None:
        add = self.lines.append
        for place in PLACES:
            for per in KEPT_BY:
                self.lines += [f"exp({q(place)},{q(per)},{q(kept)})." for kept in expand(place, per)]
            self.lines += [f"meet({q(place)},{q(other)})." for other in PLACES if meets(place, other)]
        for operation in self.program.operations.values():
            o = q(operation.id)
            add(f"per({o},{q(operation.per)}).")
            self.lines += [f"part_of({o},{q(s)})." for s in operation.systems] or [f"there({o})."]
            self.lines += [f"after({o},{q(b)})." for b in after_ids(self.program.operations, operation.id)]
        for d in self.domains:
            slot = ",".join(q(w) for w in (*d.slot, "")[:3])
            self.lines += [f"may({slot},{q(v)})." for v in d.values] + [
                f"clear({slot},{q(v)})." for v in d.clear
            ]
            self.lines += [f"single({slot})."] * d.single + [f"must({slot})."] * d.must
        for item in self.program.impossible:
            add(f":- {', '.join(self._said(*test) for test in item.tests)}.")
        for follows in self.program.implied:
            tests = [self._said(*test) for test in follows.tests]
            for value in next(d.values for d in self.domains if d.slot == follows.slot):
                wrong = "not " if value in follows.values else ""
                add(f":- {', '.join((*tests, wrong + atom(follows.slot, value)))}.")

    def _said(self, kind: str, subject: str, test: Test) -> str:
        return f"t({self._number(Pattern(kind, (subject,), test=test))},_,_,_)"

    def _number(self, pattern: Pattern, on_plan: bool = False) -> int:
        """The number of a pattern, its defining rules written on first use."""
        plain = Pattern(
            pattern.kind,
            pattern.subjects,
            "",
            pattern.test,
            pattern.relation,
            pattern.systems,
            "$" if pattern.relation_variable else "",
            pattern.kinds,
            "$" if pattern.place.startswith("$") else pattern.place,
        )
        key = plain, on_plan
        if key not in self.numbers:
            n = self.numbers[key] = len(self.numbers)
            self.lines += self._made(n, plain, on_plan) if plain.kind in MADE else self._given(n, plain)
        return self.numbers[key]

    def _made(self, n: int, p: Pattern, on_plan: bool) -> Iterator[str]:
        where = f", meet({q(p.place)},P)" if p.place and p.place != "$" else ""
        for subject in map(q, p.subjects) if p.subjects else ("S",):
            source = (
                f"on({subject},P,L)" if on_plan and p.kind == "planned" else f"m({q(p.kind)},{subject},P,L)"
            )
            yield f"d({n},{subject},P,L) :- {source}{where}."

    def _given(self, n: int, p: Pattern) -> Iterator[str]:
        """`t(number, subject, place, system)` for every record of the case a pattern meets."""
        test = p.test or Test("some")
        if p.kind == "fact":
            yield from self._fact(n, p, test)
            return
        for slot, systems in self._slots(p):
            if not p.place or p.place == "$" or meets(p.place, slot[2]):
                for value in test.values:
                    for system in systems:
                        place = q(slot[2] if len(slot) > 2 else "")
                        yield f"t({n},{q(slot[1])},{place},{q(system)}) :- {atom(slot, value)}."

    def _slots(self, p: Pattern) -> Iterator[tuple[Slot, Sequence[str]]]:
        program = self.program
        if p.kind in ("touched", "damaged"):
            for id_ in p.subjects or program.parts:
                part = program.parts[id_]
                related: frozenset[str] = getattr(part, p.relation) if p.relation else frozenset()
                if p.relation and not p.relation_variable and related.isdisjoint(p.systems):
                    continue
                for place in part.places:
                    yield (p.kind, id_, place), sorted(related) if p.relation_variable else ("",)
        elif p.kind == "result":
            for id_ in p.subjects or program.operations:
                operation = program.operations[id_]
                if not p.kinds or operation.kind in p.kinds:
                    for place in KEPT_BY[operation.per]:
                        yield ("result", id_, place), ("",)
        else:
            names = program.operations if p.kind == "procedure" else program.systems
            for id_ in p.subjects or names:
                yield (p.kind, id_), ("",)

    def _fact(self, n: int, p: Pattern, test: Test) -> Iterator[str]:
        fact, places = p.subjects[0], self.program.facts[p.subjects[0]].places
        slot = ("fact", fact)
        if test.op == "none_of" and not p.place:
            absent = [f"not {atom(slot, v)}" for v in test.values]
            yield f't({n},{q(fact)},"","") :- {", ".join(absent)}.'
            return
        for value in self.values[fact]:
            place = places.get(str(value), "")
            if holds(test, frozenset((value,))) and (p.place in ("", "$") or meets(p.place, place)):
                yield f"t({n},{q(fact)},{q(place)},{q(value)}) :- {atom(slot, value)}."

    def _body(self, a: Alternative, level: str, on_plan: bool = False) -> list[str]:
        body = [self._literal(p, level, on_plan) for p in (*a.ground, *a.records)]
        for group in a.unless:
            number = len(self.lines)
            held = ", ".join(self._literal(p, "1", on_plan) for p in group)
            self.lines.append(f"u({number}) :- {held}.")
            body.append(f"not u({number})")
        return body or ["#true"]

    def _literal(self, p: Pattern, level: str, on_plan: bool) -> str:
        subject, place, system = (
            _term(v) if v.startswith("$") else "_" for v in (p.variable, p.place, p.relation_variable)
        )
        n = self._number(p, on_plan)
        if p.kind in MADE:
            return f"d({n},{subject},{place},{level})"
        if p.kind == "fitted":
            return f"t({n},{subject},_,_)"
        return f"t({n},{subject},{place},{system})"

    def _rule(self, number: int, a: Alternative) -> None:
        inherits = a.rule.strength == INHERITED
        body = self._body(a, "L" if inherits else "1")
        bound = [
            v for p in a.records for v in (p.variable, p.place, p.relation_variable) if v.startswith("$")
        ]
        names = [_term(v) for v in dict.fromkeys(bound)]
        fired = f"f({', '.join((str(number), *names, *(['L'] if inherits else [])))})"
        levels = "L=1..3" if inherits else f"L=1..{STRENGTHS.index(a.rule.strength) + 1}"
        self.lines.append(f"{fired} :- {', '.join((*body, *([levels] if inherits else [])))}.")
        for effect in a.effects:
            self.lines += [
                f"{head} :- {', '.join((fired, levels, *rest))}." for head, *rest in self._heads(effect)
            ]

    def _heads(self, effect: Effect) -> Iterator[tuple[str, ...]]:
        kind = VERBS.get(effect.verb, effect.verb)
        place = _term("" if effect.place == "all" else effect.place)
        for subject in effect.subjects:
            name = _term(subject)
            if kind == "severity":
                yield from ((f'm("severity",{q(n)},"",L)',) for n in range(1, int(subject) + 1))
            elif kind == "fitted":
                yield (f'm("fitted",{name},"",L)',)
            elif kind == "derived":
                per = self.program.derived[subject].per
                yield f'm("derived",{name},Q,L)', f"exp({place},{q(per)},Q)"
            else:
                yield f"m({q(kind)},{name},Q,L)", f"per({name},Z)", f"exp({place},Z,Q)"


def _term(word: str) -> str:
    """A bound name as a variable, anything else quoted; `all` places are the whole vehicle."""
    if word.startswith("$"):
        return f"V_{word[1:]}"
    return q("" if word == "all" else word)
