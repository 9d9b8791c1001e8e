"""The second evaluator: small, slow, and independent of the first; it shares only `model` with it.

It confirms that every reported firing holds and rests on what came before it, and that no rule has a satisfied
match that did not fire. Where the first engine cannot be had, it iterates to the fixpoint alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from ..diagnostics.message import InferenceFault
from ..model.case import Case, State
from ..model.catalogue import Test, Value
from ..model.outcome import FIRM, POSSIBLE, STANDINGS, Firing, Fixpoint, Record
from ..model.places import expand, meets
from ..model.program import Program
from ..model.rule import Alternative, Pattern

OPPOSITE = {FIRM: POSSIBLE, POSSIBLE: FIRM}
MADE_KINDS = ("derived", "severity", "planned", "fitted")
VERB_KINDS = {"plan": "planned", "conclude": "derived", "fits": "fitted"}


@dataclass(slots=True)
class World:
    """What one pass may see: the case under one reading of its unknowns, and the records made so far."""

    program: Program
    case: Case
    standing: str
    made: dict[tuple[str, str], dict[Record, None]] = field(default_factory=dict)
    asked: dict[int, tuple[bool, Pattern]] = field(
        default_factory=dict
    )  # the pattern is kept, so its id is its own
    found: dict[int, tuple[list[Record], Pattern]] = field(default_factory=dict)
    shelves: dict[tuple[int, str], dict[str, list[Record]]] = field(default_factory=dict)

    def add(self, record: Record) -> bool:
        """Take in a made record; True when it is new."""
        shelf = self.made.setdefault((record.kind, record.subject), {})
        if record in shelf:
            return False
        shelf[record] = None
        return True

    def passes(self, test: Test, state: State, kind: str) -> bool:
        """Whether a test passes on a slot, as this pass reads unknowns."""
        if state.known is not None:
            return _true(test, state.known)
        if self.standing == FIRM:
            return False
        if test.op == "not_known":
            return True
        if self.standing == POSSIBLE:
            # an un-looked-up procedure is no reason to drop a line: the line's strength already says it
            return kind != "procedure" or tuple(test.values) != ("not_required",)
        return _true(test, state.assumed)

    def holds(self, pattern: Pattern) -> bool:
        """Whether a pattern without variables has at least one match."""
        key = id(pattern)
        if pattern.kind in MADE_KINDS or key not in self.asked:
            self.asked[key] = self._holds(pattern), pattern
        return self.asked[key][0]

    def _holds(self, pattern: Pattern) -> bool:
        if pattern.kind in ("fact", "method", "procedure") and pattern.subjects and not pattern.place:
            test, kind = pattern.test or Test("some"), pattern.kind
            return any(self.passes(test, self.case.state((kind, s)), kind) for s in pattern.subjects)
        return any(True for _ in self.records(pattern))

    def records(self, pattern: Pattern) -> Iterable[Record]:
        """Every record a pattern meets, in fixed order. Those of the case are found once."""
        if id(pattern) not in self.found:
            self.found[id(pattern)] = [r for r in self._given(pattern) if _placed(pattern, r)], pattern
        given = self.found[id(pattern)][0]
        if pattern.kind not in MADE_KINDS:
            return given
        return [*given, *(r for r in self._made(pattern) if _placed(pattern, r) and r not in given)]

    def records_with(self, pattern: Pattern, name: str, value: str) -> list[Record]:
        """The records a pattern meets whose subject or place is one an earlier pattern has bound."""
        if pattern.kind in MADE_KINDS:
            return [r for r in self.records(pattern) if getattr(r, name) == value]
        key = (id(pattern), name)
        shelf = self.shelves.get(key)
        if shelf is None:
            shelf = self.shelves[key] = {}
            for record in self.records(pattern):
                shelf.setdefault(getattr(record, name), []).append(record)
        return shelf.get(value, [])

    def _made(self, pattern: Pattern) -> Iterator[Record]:
        for subject in pattern.subjects:
            yield from self.made.get((pattern.kind, subject), ())
        if not pattern.subjects:
            yield from (r for (kind, _), shelf in self.made.items() if kind == pattern.kind for r in shelf)

    def _given(self, pattern: Pattern) -> Iterator[Record]:
        test, kind = pattern.test or Test("some"), pattern.kind
        if kind == "fact":
            yield from self._values(pattern.subjects[0], test)
        elif kind in ("touched", "damaged"):
            yield from self._parts(pattern, test)
        elif kind in ("fitted", "code", "method"):
            for system in pattern.subjects or self.program.systems:
                if self.passes(test, self.case.state((kind, system)), kind):
                    yield Record(kind, system)
        elif kind == "procedure":
            for operation in pattern.subjects or self.program.operations:
                if self.passes(test, self.case.state((kind, operation)), kind):
                    yield Record(kind, operation)
        elif kind == "result":
            for operation, place in self.case.standing:
                wanted = not pattern.subjects or operation in pattern.subjects
                of_kind = not pattern.kinds or self.program.operations[operation].kind in pattern.kinds
                state = self.case.state(("result", operation, place))
                if wanted and of_kind and _true(test, state.value):
                    yield Record("result", operation, place)

    def _values(self, fact: str, test: Test) -> Iterator[Record]:
        state, places = self.case.state(("fact", fact)), self.program.facts[fact].places
        values: Iterable[Value] = state.value
        if state.known is None:
            if self.standing == FIRM:
                return
            if self.standing == POSSIBLE:
                values = places
        for value in sorted(map(str, values)):
            if _true(test, frozenset((value,))):
                yield Record("fact", fact, places.get(value, ""), value)

    def _parts(self, pattern: Pattern, test: Test) -> Iterator[Record]:
        for id_ in pattern.subjects or self.program.parts:
            part = self.program.parts[id_]
            systems: Iterable[str] = ("",)
            if pattern.relation:
                related = getattr(part, pattern.relation)
                if pattern.relation_variable:
                    systems = sorted(related)
                elif related.isdisjoint(pattern.systems):
                    continue
            for place in part.places:
                if self.passes(test, self.case.state((pattern.kind, id_, place)), pattern.kind):
                    for system in systems:
                        yield Record(pattern.kind, id_, place, system)


def _true(test: Test, values: frozenset[Value]) -> bool:
    if test.op == "any_of":
        return any(v in values for v in test.values)
    if test.op == "none_of":
        return not any(v in values for v in test.values)
    if test.op == "some":
        return len(values) > 0
    if test.op == "at_least":
        return any(float(v) >= float(test.values[0]) for v in values)
    if test.op == "below":
        return any(float(v) < float(test.values[0]) for v in values)
    return False  # not_known, of something known


def _placed(pattern: Pattern, record: Record) -> bool:
    return not pattern.place or pattern.place.startswith("$") or meets(pattern.place, record.place)


def matches(a: Alternative, world: World, other: World) -> Iterator[tuple[Firing, Mapping[str, str]]]:
    """Every match of an alternative; `unless` is judged in the other world."""
    if not all(world.holds(p) for p in a.ground):
        return
    if any(all(other.holds(p) for p in group) for group in a.unless):
        return
    yield from _join(a, world, 0, (), {})


def _join(
    a: Alternative, world: World, depth: int, chosen: tuple[Record, ...], bound: dict[str, str]
) -> Iterator[tuple[Firing, Mapping[str, str]]]:
    if depth == len(a.records):
        yield Firing(a.id, chosen), bound
        return
    pattern = a.records[depth]
    if pattern.variable and pattern.variable in bound:
        records = world.records_with(pattern, "subject", bound[pattern.variable])
    elif pattern.place in bound:
        records = world.records_with(pattern, "place", bound[pattern.place])
    else:
        records = list(world.records(pattern))
    binds = pattern.variable or pattern.relation_variable or pattern.place[:1] == "$"
    for record in records:
        names = _bind(pattern, record, bound) if binds else bound
        if names is not None:
            yield from _join(a, world, depth + 1, (*chosen, record), names)


def _bind(pattern: Pattern, record: Record, bound: dict[str, str]) -> dict[str, str] | None:
    names = bound
    for name, value in (
        (pattern.variable, record.subject),
        (pattern.relation_variable, record.system),
        (pattern.place, record.place),
    ):
        if name[:1] == "$":
            if names.get(name, value) != value:
                return None
            names = {**names, name: value}
    return names


def effects(a: Alternative, bound: Mapping[str, str], program: Program) -> Iterator[Record]:
    """The records a firing makes, by its bound names."""
    for effect in a.effects:
        place = bound.get(effect.place, effect.place)
        for subject in effect.subjects:
            if effect.verb == "severity":
                for level in range(1, int(subject) + 1):
                    yield Record("severity", str(level))
                continue
            name = bound.get(subject, subject)
            kind = VERB_KINDS.get(effect.verb, effect.verb)
            if kind == "fitted":
                yield Record(kind, name)
                continue
            kept = program.derived[name].per if kind == "derived" else program.operations[name].per
            for where in expand("" if place == "all" else place, kept):
                yield Record(kind, name, where)


def fixpoints(program: Program, case: Case) -> dict[str, Fixpoint]:
    """All three passes by plain iteration, stratum by stratum."""
    worlds = {s: World(program, case, s) for s in STANDINGS}
    fired: dict[str, dict[Firing, None]] = {s: {} for s in STANDINGS}
    for stratum in range(program.strata):
        here = [a for a in program.alternatives if a.stratum == stratum]
        for standing in STANDINGS:
            world, other = worlds[standing], worlds[OPPOSITE.get(standing, standing)]
            growing = True
            while growing:
                growing = False
                for a in here:
                    for firing, bound in list(matches(a, world, other)):
                        if firing not in fired[standing]:
                            fired[standing][firing] = None
                            for record in effects(a, bound, program):
                                growing |= world.add(record)
    return {
        s: Fixpoint(tuple(fired[s]), frozenset(r for shelf in worlds[s].made.values() for r in shelf))
        for s in STANDINGS
    }


def certify(program: Program, case: Case, passes: Mapping[str, Fixpoint]) -> None:
    """Raise InferenceFault unless the passes are exactly the fixpoints of the program over the case."""
    by_id = {a.id: a for a in program.alternatives}
    worlds = {s: World(program, case, s) for s in STANDINGS}
    for standing, fixpoint in passes.items():
        for record in fixpoint.made:
            worlds[standing].add(record)
    for standing, fixpoint in passes.items():
        world, other = worlds[standing], worlds[OPPOSITE.get(standing, standing)]
        expected: dict[Firing, Mapping[str, str]] = {}
        for a in program.alternatives:
            expected.update(matches(a, world, other))
        reported = set(fixpoint.firings)
        for firing in expected:
            if firing not in reported:
                raise _fault("a rule has a match that did not fire", standing, firing)
        made: dict[Record, Firing] = {}
        for firing in fixpoint.firings:
            if firing not in expected:
                raise _fault("a rule fired without a match", standing, firing)
            founded = all(
                r.kind not in MADE_KINDS or r in made or _is_given(r, world) for r in firing.records
            )
            if not founded:
                raise _fault("a rule fired before what it rests on", standing, firing)
            for record in effects(by_id[firing.alternative], expected[firing], program):
                made.setdefault(record, firing)
        for record in sorted(made.keys() ^ fixpoint.made):
            text = f"the record `{_shown(record)}` has no firing, or a firing not its record"
            raise _fault(text, standing, made.get(record, Firing("", (record,))))


def _is_given(record: Record, world: World) -> bool:
    """A fitted system may come from the case rather than from a rule."""
    if record.kind != "fitted":
        return False
    return world.passes(Test("any_of", ("yes",)), world.case.state(("fitted", record.subject)), "fitted")


def _shown(record: Record) -> str:
    return " ".join(word for word in record if word)


def _fault(text: str, standing: str, firing: Firing) -> InferenceFault:
    rule = firing.alternative.partition("#")[0]
    match = ", ".join(map(_shown, firing.records)) or "no records"
    named = f" (rule {rule}, match: {match})" if rule else f" ({match})"
    return InferenceFault(f"the two engines disagree in the {standing} pass: {text}{named}", rule, match)
