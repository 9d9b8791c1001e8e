"""The second evaluator: plain, and independent of the first; it shares only `model` with it.

It confirms that every reported firing holds and rests on what is founded, and that no rule has a satisfied match
that did not fire. Where the first engine cannot be had, it iterates to the fixpoint alone.

The three passes are looked at together: what holds is a mask of the passes in which it does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from weakref import WeakKeyDictionary

from ..model.case import Case, State
from ..model.catalogue import Test, Value
from ..model.outcome import ACROSS, ALL, BIT, POSSIBLE, PROVISIONAL, Firing, Record
from ..model.places import expand, meets
from ..model.program import Program
from ..model.record import dataclass, field
from ..model.rule import Alternative, Pattern

MADE_KINDS = ("derived", "severity", "planned", "fitted")
VERB_KINDS = {"plan": "planned", "conclude": "derived", "fits": "fitted"}
CANONICAL: WeakKeyDictionary[Program, dict[int, int]] = WeakKeyDictionary()
Seen = list[tuple[Record, int]]


def _canonical(program: Program) -> dict[int, int]:
    """For each pattern of a program its key, by identity; equal patterns share one, so they are looked up once."""
    if program not in CANONICAL:
        first: dict[Pattern, Pattern] = {}
        CANONICAL[program] = {
            id(p): id(first.setdefault(p, p))
            for a in program.alternatives
            for p in (*a.ground, *a.records, *(q for group in a.unless for q in group))
        }
    return CANONICAL[program]


@dataclass(slots=True)
class World:
    """What the passes may see: the case under each reading of its unknowns, and the records made so far.

    `finished` once nothing is made any more: from then on what is found of made records is remembered too.
    """

    program: Program
    case: Case
    finished: bool = False
    made: dict[tuple[str, str], dict[Record, int]] = field(default_factory=dict)
    keys: dict[int, int] = field(init=False)
    listed: dict[tuple[str, str], list[tuple[str, State]]] = field(default_factory=dict)
    foreign: dict[int, Pattern] = field(default_factory=dict)
    asked: dict[int, int] = field(default_factory=dict)
    found: dict[int, Seen] = field(default_factory=dict)
    shelves: dict[tuple[int, str], dict[str, Seen]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.keys = _canonical(self.program)
        for slot, state in self.case.slots.items():
            if slot[0] in ("touched", "damaged"):
                self.listed.setdefault((slot[0], slot[1]), []).append((slot[2], state))

    def _key(self, pattern: Pattern) -> int:
        """A pattern's key; one that is not of the program is kept, so that its identity stays its own."""
        key = self.keys.get(id(pattern))
        if key is None:
            self.foreign[id(pattern)] = pattern
            key = id(pattern)
        return key

    def add(self, record: Record, passes: int = ALL) -> bool:
        """Take in a made record; True when it is new in one of these passes."""
        shelf = self.made.setdefault((record.kind, record.subject), {})
        before = shelf.get(record, 0)
        shelf[record] = before | passes
        return before | passes != before

    def passes(self, test: Test, state: State, kind: str) -> int:
        """The passes in which a test holds of a slot."""
        if state.known is not None:
            return ALL if _true(test, state.known) else 0
        if test.op == "not_known":
            return BIT[PROVISIONAL] | BIT[POSSIBLE]
        found = BIT[PROVISIONAL] if _true(test, state.assumed) else 0
        # an un-looked-up procedure is no reason to drop a line: the line's strength already says it
        if kind != "procedure" or tuple(test.values) != ("not_required",):
            found |= BIT[POSSIBLE]
        return found

    def holds(self, pattern: Pattern) -> int:
        """The passes in which a pattern without variables has a match."""
        key = self._key(pattern)
        held = self.asked.get(key)
        if held is None:
            held = self._holds(pattern)
            if self.finished or pattern.kind not in MADE_KINDS:
                self.asked[key] = held
        return held

    def _holds(self, pattern: Pattern) -> int:
        held, kind = 0, pattern.kind
        if kind in ("fact", "method", "procedure", "code") and pattern.subjects and not pattern.place:
            test = pattern.test or Test("some")
            for subject in pattern.subjects:
                held |= self.passes(test, self.case.state((kind, subject)), kind)
        else:
            for _, mask in self.records(pattern):
                held |= mask
        return held

    def records(self, pattern: Pattern) -> Seen:
        """Every record a pattern meets, in fixed order, with its passes. Those of the case are found once."""
        key = self._key(pattern)
        found = self.found.get(key)
        grows = pattern.kind in MADE_KINDS and not self.finished
        if found is None:
            found = [(r, mask) for r, mask in self._given(pattern) if mask and _placed(pattern, r)]
            if pattern.kind in MADE_KINDS and self.finished:
                found = self._with_made(pattern, found)
            self.found[key] = found
        return self._with_made(pattern, found) if grows else found

    def records_with(self, pattern: Pattern, name: str, value: str) -> Seen:
        """The records a pattern meets whose subject or place is one an earlier pattern has bound."""
        if pattern.kind in ("code", "procedure") and name == "subject":
            if pattern.subjects and value not in pattern.subjects:
                return []
            state = self.case.state((pattern.kind, value))
            mask = self.passes(pattern.test or Test("some"), state, pattern.kind)
            return [(Record(pattern.kind, value), mask)] if mask else []
        if pattern.kind in MADE_KINDS and not self.finished:
            return [(r, mask) for r, mask in self.records(pattern) if getattr(r, name) == value]
        key = (self._key(pattern), name)
        shelf = self.shelves.get(key)
        if shelf is None:
            shelf = self.shelves[key] = {}
            for record, mask in self.records(pattern):
                shelf.setdefault(getattr(record, name), []).append((record, mask))
        return shelf.get(value, [])

    def _with_made(self, pattern: Pattern, given: Seen) -> Seen:
        """What the case gives and what was made; a fitted system may be both."""
        masks = dict(given)
        for record, mask in self._made(pattern):
            if _placed(pattern, record):
                masks[record] = masks.get(record, 0) | mask
        return list(masks.items())

    def _made(self, pattern: Pattern) -> Iterator[tuple[Record, int]]:
        for subject in pattern.subjects:
            yield from self.made.get((pattern.kind, subject), {}).items()
        if not pattern.subjects:
            for (kind, _), shelf in self.made.items():
                if kind == pattern.kind:
                    yield from shelf.items()

    def _given(self, pattern: Pattern) -> Iterator[tuple[Record, int]]:
        test, kind, state = pattern.test or Test("some"), pattern.kind, self.case.state
        if kind == "fact":
            yield from self._values(pattern.subjects[0], test)
        elif kind in ("touched", "damaged"):
            yield from self._parts(pattern, test)
        elif kind in ("fitted", "code", "method", "procedure"):
            every = self.program.operations if kind == "procedure" else self.program.systems
            for subject in pattern.subjects or every:
                yield Record(kind, subject), self.passes(test, state((kind, subject)), kind)
        elif kind == "result":
            for operation, place in self.case.standing:
                wanted = not pattern.subjects or operation in pattern.subjects
                of_kind = not pattern.kinds or self.program.operations[operation].kind in pattern.kinds
                if wanted and of_kind and _true(test, state(("result", operation, place)).value):
                    yield Record("result", operation, place), ALL

    def _values(self, fact: str, test: Test) -> Iterator[tuple[Record, int]]:
        state, places = self.case.state(("fact", fact)), self.program.facts[fact].places
        values = set(map(str, state.value)) | (set(places) if state.known is None else set())
        for value in sorted(values):
            if not _true(test, frozenset((value,))):
                continue
            mask = ALL
            if state.known is None:
                mask = BIT[PROVISIONAL] if value in state.assumed else 0
                mask |= BIT[POSSIBLE] if value in places else 0
            yield Record("fact", fact, places.get(value, ""), value), mask

    def _parts(self, pattern: Pattern, test: Test) -> Iterator[tuple[Record, int]]:
        """Parts that the case lists: no test on a part holds of one that nothing is known or feared of."""
        for id_ in pattern.subjects or self.program.parts:
            places = self.listed.get((pattern.kind, id_))
            if places is None:
                continue
            systems: Iterable[str] = ("",)
            if pattern.relation:
                related = getattr(self.program.parts[id_], pattern.relation)
                if pattern.relation_variable:
                    systems = sorted(related)
                elif related.isdisjoint(pattern.systems):
                    continue
            for place, state in places:
                mask = self.passes(test, state, pattern.kind)
                if mask:
                    for system in systems:
                        yield Record(pattern.kind, id_, place, system), mask


def _true(test: Test, values: frozenset[Value]) -> bool:
    if test.op == "any_of":
        return not values.isdisjoint(test.values)
    if test.op == "none_of":
        return values.isdisjoint(test.values)
    if test.op == "some":
        return len(values) > 0
    if test.op == "at_least":
        return any(float(v) >= float(test.values[0]) for v in values)
    if test.op == "below":
        return any(float(v) < float(test.values[0]) for v in values)
    return False  # not_known, of something known


def _placed(pattern: Pattern, record: Record) -> bool:
    return not pattern.place or pattern.place.startswith("$") or meets(pattern.place, record.place)


Match = tuple[Firing, Mapping[str, str], int]


def matches(a: Alternative, world: World) -> Iterator[Match]:
    """Every match of an alternative: the firing, the names it binds and its passes.

    `unless` of a pass is judged in its opposite: firm and possible look at each other.
    """
    mask = ALL
    for pattern in a.ground:
        mask &= world.holds(pattern)
        if not mask:
            return
    for group in a.unless:
        held = ALL
        for pattern in group:
            held &= world.holds(pattern)
        mask &= ~ACROSS[held]
    if mask and a.records:
        yield from _join(a, world, 0, (), {}, mask)
    elif mask:
        yield Firing(a.id, ()), {}, mask


def _join(
    a: Alternative, world: World, depth: int, chosen: tuple[Record, ...], bound: dict[str, str], mask: int
) -> Iterator[Match]:
    if depth == len(a.records):
        yield Firing(a.id, chosen), bound, mask
        return
    pattern = a.records[depth]
    if pattern.variable and pattern.variable in bound:
        records = world.records_with(pattern, "subject", bound[pattern.variable])
    elif pattern.place in bound:
        records = world.records_with(pattern, "place", bound[pattern.place])
    else:
        records = world.records(pattern)
    binds = pattern.variable or pattern.relation_variable or pattern.place[:1] == "$"
    for record, held in records:
        if held & mask:
            names = _bind(pattern, record, bound) if binds else bound
            if names is not None:
                yield from _join(a, world, depth + 1, (*chosen, record), names, mask & held)


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
