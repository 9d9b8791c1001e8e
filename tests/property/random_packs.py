"""Random programs, cases and completions, built straight from the model; the same seed gives the same ones.

Nothing here goes through the loader's files: what the grammar can say is said at random, the odd corners
(one system in two roles, names with quotes, rules without conditions) more often than a person would.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.link import is_record
from knockon.engine.load.rules import expand
from knockon.engine.load.strata import stratify
from knockon.engine.model.answers import ACTIONS, HARMED, METHODS, OUTCOMES, VERDICTS
from knockon.engine.model.catalogue import Derived, FactSpec, Operation, Part, System, Test
from knockon.engine.model.places import CORNERS, KEPT_BY, PLACES
from knockon.engine.model.program import PackId, Program
from knockon.engine.model.record import replace
from knockon.engine.model.rule import INHERITED, STRENGTHS, Alternative, Effect, Pattern, Rule

MADE = ("derived", "severity", "planned", "fitted")
ODD = " \"é\\\n'{}, 漢"
KINDS = ("scan", "aim", "look")
PART_PLACES = (("",), ("front",), ("rear",), ("left", "right"), ("front_left", "front_right"), CORNERS)
SUBJECT_NAME = {"touched": "$p", "damaged": "$p", "fitted": "$x", "code": "$x", "procedure": "$o"}


@dataclass(frozen=True, slots=True)
class Names:
    """What the rules of one random program may talk about."""

    facts: Mapping[str, FactSpec]
    systems: tuple[str, ...]
    parts: Mapping[str, Part]
    operations: tuple[str, ...]
    derived: tuple[str, ...]
    by_law: tuple[str, ...]


def random_program(seed: int, rules: int = 0) -> Program:
    """A program of the given number of rules, or of 3 to 60."""
    rng = random.Random(f"program {seed}")
    odd = ODD if rng.random() < 0.15 else ""
    systems = {f"s{i}{odd}": None for i in range(rng.randint(2, 5))}
    facts = _facts(rng, odd)
    parts = {f"p{i}{odd}": _part(rng, f"p{i}{odd}", tuple(systems)) for i in range(rng.randint(2, 5))}
    operations = {
        f"o{i}{odd}": _operation(rng, f"o{i}{odd}", tuple(systems)) for i in range(rng.randint(2, 7))
    }
    derived = {f"d{i}{odd}": Derived(f"d{i}{odd}", "", rng.choice(tuple(KEPT_BY))) for i in range(6)}
    by_law = tuple(s for s in systems if rng.random() < 0.2)
    names = Names(facts, tuple(systems), parts, tuple(operations), tuple(derived), by_law)
    writer = Writer(rng, names)
    written = [writer.rule(f"R{i}{odd}") for i in range(rules or rng.choice((3, 6, 10, 15, 25, 60)))]
    alternatives, strata = _link(written, by_law)
    return Program(
        packs=(PackId("random", "1.0.0", "", f"random {seed}", "2026-01-01", ""),),
        facts=facts,
        derived=derived,
        systems={s: System(s, s, "", "body", False) for s in systems},
        parts=parts,
        operations=operations,
        phases={"work": "work"},
        preconditions={},
        cautions={},
        events={},
        sources={},
        impossible=(),
        implied=(),
        rules={r.id: r for r in written},
        overridden={},
        alternatives=alternatives,
        strata=strata,
        labour={},
        limits={},
        scenarios=(),
    )


def _facts(rng: random.Random, odd: str) -> dict[str, FactSpec]:
    found = {}
    for i, kind in enumerate(("choice", "choice", "set", "set", "number", "systems")):
        values = {} if kind == "number" else {f"v{n}{odd}": "" for n in range(rng.randint(2, 4))}
        places = {v: rng.choice(PLACES) if i % 2 else "" for v in values}
        if kind == "systems":
            values, places = {"*": ""}, {}
        type_ = "set" if kind == "systems" else kind
        id_ = f"f{i}{odd}"
        found[id_] = FactSpec(id_, id_, "", type_, values, places, "", ("intake",), (), (), ())
    return found


def _part(rng: random.Random, id_: str, systems: tuple[str, ...]) -> Part:
    carries, covers, near = (frozenset(s for s in systems if rng.random() < 0.4) for _ in range(3))
    return Part(id_, id_, rng.choice(PART_PLACES), "none", (), False, carries, covers, near)


def _operation(rng: random.Random, id_: str, systems: tuple[str, ...]) -> Operation:
    needs = tuple(rng.sample(systems, rng.choice((0, 0, 1, 2))))
    per = rng.choice(tuple(KEPT_BY))
    return Operation(id_, id_, rng.choice(KINDS), needs, per, "work", (), (), (), (), ())


def _link(rules: Iterable[Rule], by_law: tuple[str, ...]) -> tuple[tuple[Alternative, ...], int]:
    """Expand and stratify; a rule on a ring through `unless` loses what it looks at there."""
    found = [a for rule in rules for a in alternatives_of(rule, frozenset(by_law))]
    while (strata := stratify(found, Messages())) is None:
        guilty = next(a for a in reversed(found) if any(p.kind in MADE for g in a.unless for p in g))
        found = [replace(a, unless=()) if a.rule is guilty.rule else a for a in found]
    return tuple(replace(a, stratum=strata[a.id]) for a in found), 1 + max(strata.values(), default=0)


def alternatives_of(rule: Rule, by_law: frozenset[str]) -> list[Alternative]:
    """What a rule expands to, not yet in strata."""
    choices = expand(rule)
    return [
        Alternative(
            id=rule.id if len(choices) == 1 else f"{rule.id}#{i}",
            rule=rule,
            ground=tuple(p for p in choice if not is_record(p, by_law)),
            records=tuple(p for p in choice if is_record(p, by_law)),
            unless=rule.unless,
            effects=rule.then,
            stratum=0,
        )
        for i, choice in enumerate(choices)
    ]


class Writer:
    """Writes random rules. Levels keep most of them off rings: a rule reads what lies at or below its own."""

    def __init__(self, rng: random.Random, names: Names) -> None:
        self.rng, self.names = rng, names

    def rule(self, id_: str) -> Rule:
        """One rule: conditions, blockers, effects, and a strength that fits them."""
        rng, level = self.rng, self.rng.randint(0, 3)
        fits = bool(self.names.by_law) and rng.random() < 0.1
        level = 0 if fits else level
        when: list[Pattern | tuple[tuple[Pattern, ...], ...]] = []
        for _ in range(rng.choice((0, 1, 1, 2, 2, 2, 3, 3, 4))):
            if rng.random() < 0.12:
                when.append(tuple((self.pattern(level, fits, free=True),) for _ in range(rng.randint(2, 3))))
            else:
                when.append(self.pattern(level, fits, free=True))
        unless = tuple(
            tuple(self.pattern(level - 1, False, free=False) for _ in range(rng.choice((1, 1, 2))))
            for _ in range(rng.choice((0, 0, 0, 1, 1, 2)))
        )
        draft = Rule(id_, "random", id_, tuple(when), unless, (), "", "because", "", ())
        choices = expand(draft)
        bound = set.intersection(*({*names_in(choice)} for choice in choices))
        then = (Effect("fits", (rng.choice(self.names.by_law),)),) if fits else self.effects(level, bound)
        rests = all(any(p.kind in ("derived", "severity", "planned") for p in c) for c in choices)
        strength = INHERITED if rests and rng.random() < 0.5 else rng.choice(STRENGTHS)
        return replace(draft, then=then, strength=strength)

    def pattern(self, level: int, plain: bool, free: bool) -> Pattern:
        """A pattern on something at or below `level`; `free` ones may bind names, `plain` ones ask facts."""
        kinds = [
            "fact",
            "fact",
            "fact",
            "fitted",
            "touched",
            "touched",
            "damaged",
            "code",
            "method",
            "procedure",
        ]
        kinds += ["result"]
        if level >= 0:
            kinds += ["derived", "derived", "derived"]
        if level >= 1:
            kinds += ["severity"]
        if level >= 2:
            kinds += ["planned", "planned"]
        kind = "fact" if plain else self.rng.choice(kinds)
        pattern: Pattern = getattr(self, f"_{kind}")(level)
        if free:
            pattern = self._bind(pattern)
        return pattern

    def _bind(self, pattern: Pattern) -> Pattern:
        """Put names in some of the positions that take them."""
        rng, kind = self.rng, pattern.kind
        placed = kind in ("touched", "damaged", "derived", "planned", "result")
        placed = placed or (kind == "fact" and any(self.names.facts[pattern.subjects[0]].places.values()))
        place = "$s" if placed and rng.random() < 0.5 else pattern.place
        name = SUBJECT_NAME.get(kind, "$o" if kind in ("planned", "result") else "")
        variable, subjects = ("", pattern.subjects)
        if name and rng.random() < 0.25:
            variable, subjects = name, ()
        systems, relation_variable = pattern.systems, ""
        if pattern.relation and rng.random() < 0.5:
            systems, relation_variable = (), "$x"
        return replace(
            pattern,
            place=place,
            variable=variable,
            subjects=subjects,
            systems=systems,
            relation_variable=relation_variable,
        )

    def _some(self, of: Iterable[str], most: int = 3) -> tuple[str, ...]:
        pool = list(of)
        return tuple(self.rng.sample(pool, self.rng.randint(1, min(most, len(pool)))))

    def _place(self) -> str:
        return self.rng.choice(PLACES[1:]) if self.rng.random() < 0.2 else ""

    def _fact(self, _: int) -> Pattern:
        spec = self.rng.choice(list(self.names.facts.values()))
        if self.rng.random() < 0.12:
            return Pattern("fact", (spec.id,), test=Test(self.rng.choice(("not_known", "some"))))
        if spec.type == "number":
            bound = self.rng.choice((3.0, 8.0))
            return Pattern("fact", (spec.id,), test=Test(self.rng.choice(("at_least", "below")), (bound,)))
        values = self.names.systems if "*" in spec.values else tuple(spec.values)
        test = Test(self.rng.choice(("any_of", "any_of", "none_of")), self._some(values))
        place = self._place() if any(spec.places.values()) else ""
        return Pattern("fact", (spec.id,), test=test, place=place)

    def _fitted(self, _: int) -> Pattern:
        subjects = () if self.rng.random() < 0.1 else self._some(self.names.systems, 2)
        return Pattern("fitted", subjects, test=Test("any_of", ("yes",)))

    def _code(self, _: int) -> Pattern:
        return replace(self._fitted(_), kind="code")

    def _method(self, _: int) -> Pattern:
        return Pattern("method", self._some(self.names.systems, 1), test=Test("any_of", self._some(METHODS)))

    def _procedure(self, _: int) -> Pattern:
        test = Test("any_of", self._some(VERDICTS, 2))
        return Pattern("procedure", self._some(self.names.operations, 1), test=test)

    def _touched(self, _: int, kind: str = "touched", words: tuple[str, ...] = ACTIONS) -> Pattern:
        subjects = () if self.rng.random() < 0.4 else self._some(self.names.parts)
        test = Test("any_of", words if self.rng.random() < 0.4 else self._some(words))
        relation = self.rng.choice(("", "carries", "covers", "near"))
        systems = self._some(self.names.systems, 2) if relation else ()
        return Pattern(kind, subjects, test=test, relation=relation, systems=systems, place=self._place())

    def _damaged(self, _: int) -> Pattern:
        return self._touched(_, "damaged", HARMED)

    def _derived(self, level: int) -> Pattern:
        low = [d for i, d in enumerate(self.names.derived) if i % 3 <= level]
        return Pattern("derived", (self.rng.choice(low),), place=self._place())

    def _severity(self, _: int) -> Pattern:
        return Pattern("severity", (str(self.rng.randint(1, 3)),))

    def _planned(self, _: int) -> Pattern:
        subjects = () if self.rng.random() < 0.3 else self._some(self.names.operations, 2)
        return Pattern("planned", subjects, place=self._place())

    def _result(self, _: int) -> Pattern:
        subjects = () if self.rng.random() < 0.4 else self._some(self.names.operations)
        kinds = self._some(KINDS, 2) if self.rng.random() < 0.3 else ()
        test = Test("any_of", self._some(OUTCOMES))
        return Pattern("result", subjects, test=test, kinds=kinds, place=self._place())

    def effects(self, level: int, bound: set[str]) -> tuple[Effect, ...]:
        """One to three effects; places and operations may be names the conditions bind."""
        return tuple(self._effect(level, bound) for _ in range(self.rng.choice((1, 1, 2, 3))))

    def _effect(self, level: int, bound: set[str]) -> Effect:
        rng = self.rng
        place = rng.choice(["", "all", rng.choice(PLACES[1:]), *["$s"] * (3 if "$s" in bound else 0)])
        verb = rng.choice(
            ("hold", "drop", "void") if level == 3 else ("plan", "plan", "conclude", "conclude", "severity")
        )
        if verb == "severity" and level <= 1:
            return Effect(verb, (str(rng.randint(1, 3)),))
        if verb == "conclude":
            high = [d for i, d in enumerate(self.names.derived) if i % 3 >= level]
            return Effect(verb, self._some(high, 2), place)
        verb = "plan" if verb == "severity" else verb
        subjects = ("$o",) if "$o" in bound and rng.random() < 0.6 else self._some(self.names.operations, 2)
        return Effect(verb, subjects, place)


def names_in(patterns: Iterable[Pattern]) -> set[str]:
    """The names a conjunction binds."""
    return {n for p in patterns for n in (p.variable, p.relation_variable, p.place) if n.startswith("$")}
