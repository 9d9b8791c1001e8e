"""The second evaluator: plain, and independent of the first; it shares only `model` with it.

It confirms that every reported firing holds and rests on what is founded, and that no rule has a satisfied match
that did not fire. Where the first engine cannot be had, it iterates to the fixpoint alone.

The three passes are looked at together: what holds is a mask of the passes in which it does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from ..model.case import CLOSED, Case, State
from ..model.catalogue import Test, Value
from ..model.outcome import ACROSS, ALL, BIT, POSSIBLE, PROVISIONAL, Firing, Record
from ..model.places import meets
from ..model.program import Program
from ..model.record import dataclass, field
from ..model.rule import Alternative, Pattern
from .lookup import MADE_KINDS, ONE_SLOT, SOME, SUBJECT, Body, Bound, Lookup, lookup, made_by, names

PROVISIONALLY, POSSIBLY = BIT[PROVISIONAL], BIT[POSSIBLE]
Seen = Sequence[tuple[Record, int]]
Joined = tuple[tuple[Record, ...], Bound, int]
NOTHING: Mapping[Record, int] = {}


@dataclass(slots=True)
class World:
    """What the passes may see: the case under each reading of its unknowns, and the records made so far.

    `finished` once nothing is made any more: from then on what is found of made records is remembered too. `begun`:
    the alternatives, as places in the program, whose first record pattern may meet something.
    """

    program: Program
    case: Case
    finished: bool = False
    made: dict[tuple[str, str], dict[Record, int]] = field(default_factory=dict)
    lookup: Lookup = field(init=False)
    begun: set[int] = field(init=False)
    listed: dict[str, dict[str, list[tuple[str, State]]]] = field(init=False)
    held: dict[int, int] = field(default_factory=dict)
    found: dict[int, Seen] = field(default_factory=dict)
    shelves: dict[tuple[int, int], dict[str, list[tuple[Record, int]]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.lookup = lookup(self.program)
        self.begun = set(self.lookup.always)
        self.listed = {"touched": {}, "damaged": {}}
        for slot, state in self.case.slots.items():
            if slot[0] in self.listed:
                self.listed[slot[0]].setdefault(slot[1], []).append((slot[2], state))
                self.begin(slot[0], slot[1])
        for operation, _ in self.case.standing:
            self.begin("result", operation)

    def begin(self, kind: str, subject: str) -> None:
        """Note the alternatives that a record of this kind and subject may be the first record of."""
        self.begun.update(self.lookup.starts.get((kind, subject), ()))

    def add(self, record: Record, passes: int = ALL) -> bool:
        """Take in a made record; True when it is new in one of these passes."""
        key = record[0], record[1]
        shelf = self.made.get(key)
        if shelf is None:
            shelf = self.made[key] = {}
            self.begin(*key)
        before = shelf.get(record, 0)
        shelf[record] = before | passes
        return before | passes != before

    def settle(self) -> None:
        """Answer at once whatever asks of one slot, and note the alternatives that begin with what holds."""
        held, slots = self.held, self.case.slots
        for slot, asks in self.lookup.asks.items():
            state = slots.get(slot, CLOSED)
            known = state.known
            for n, test in asks:
                if known is not None and test.op == "any_of":  # most of them: not worth a call
                    held[n] = 0 if known.isdisjoint(test.values) else ALL
                else:
                    held[n] = passes_of(test, state, slot[0])
        for n, places in self.lookup.asking.items():
            if self.ask(n):
                self.begun.update(places)

    def opened(self, body: Body) -> int:
        """The passes in which an alternative's ground patterns hold, and none of its `unless` groups does.

        `unless` of a pass is judged in its opposite: firm and possible look at each other.
        """
        ground, unless, _, _, _ = body
        mask, known = ALL, self.held.get
        for n in ground:
            held = known(n)
            mask &= self.ask(n) if held is None else held
            if not mask:
                return 0
        for group in unless:
            blocked = ALL
            for n in group:
                blocked &= self.ask(n)
            mask &= ~ACROSS[blocked]
        return mask

    def holds(self, pattern: Pattern) -> int:
        """The passes in which a pattern without variables has a match."""
        return self.ask(self.lookup.number(pattern))

    def ask(self, n: int) -> int:
        """The same, for a pattern by its number."""
        held = self.held.get(n)
        if held is None:
            pattern = self.lookup.patterns[n]
            held = self._ask(n, pattern)
            if self.finished or pattern.kind not in MADE_KINDS:
                self.held[n] = held
        return held

    def _ask(self, n: int, pattern: Pattern) -> int:
        held, kind = 0, pattern.kind
        if kind in ONE_SLOT and pattern.subjects and not pattern.place:
            for subject in pattern.subjects:
                held |= passes_of(pattern.test or SOME, self.case.state((kind, subject)), kind)
            for _, mask in self._made(pattern):
                held |= mask
        else:
            for _, mask in self.met(n):
                held |= mask
        return held

    def records(self, pattern: Pattern) -> Seen:
        """Every record a pattern meets, in fixed order, with its passes. Those of the case are found once."""
        return self.met(self.lookup.number(pattern))

    def met(self, n: int) -> Seen:
        """The same, for a pattern by its number."""
        found = self.found.get(n)
        if found is None:
            pattern = self.lookup.patterns[n]
            found = self._made(pattern) if pattern.kind in MADE_KINDS else [*self._given(pattern)]
            if pattern.kind == "fitted":  # it may be both given and made
                masks = dict(self._given(pattern))
                for record, mask in found:
                    masks[record] = masks.get(record, 0) | mask
                found = list(masks.items())
            if pattern.place and pattern.place[0] != "$":
                found = [(r, mask) for r, mask in found if meets(pattern.place, r.place)]
            if self.finished or pattern.kind not in MADE_KINDS:
                self.found[n] = found
        return found

    def met_with(self, n: int, at: int, value: str) -> Seen:
        """Of the records a pattern meets those that hold `value` at `at`."""
        pattern = self.lookup.patterns[n]
        kind = pattern.kind
        if at == SUBJECT and kind in ("code", "procedure"):
            if pattern.subjects and value not in pattern.subjects:
                return ()
            mask = passes_of(pattern.test or SOME, self.case.slots.get((kind, value), CLOSED), kind)
            return ((Record(kind, value), mask),) if mask else ()
        if kind in MADE_KINDS and not self.finished:
            return [(r, mask) for r, mask in self.met(n) if r[at] == value]
        shelf = self.shelves.get((n, at))
        if shelf is None:
            shelf = self.shelves[n, at] = {}
            for record, mask in self.met(n):
                shelf.setdefault(record[at], []).append((record, mask))
        return shelf.get(value, ())

    def _made(self, pattern: Pattern) -> Seen:
        kind, made = pattern.kind, self.made
        if pattern.subjects:
            return [item for s in pattern.subjects for item in made.get((kind, s), NOTHING).items()]
        return [item for key, shelf in made.items() if key[0] == kind for item in shelf.items()]

    def _given(self, pattern: Pattern) -> Iterable[tuple[Record, int]]:
        """What the case gives a pattern wherever it is, with the passes."""
        kind, test = pattern.kind, pattern.test or SOME
        if kind in ("touched", "damaged"):
            return self._parts(pattern, test)
        if kind == "result":
            return self._results(pattern, test)
        if kind == "fact":
            return self._values(pattern.subjects[0], test)
        every = self.program.operations if kind == "procedure" else self.program.systems
        asked = [(s, passes_of(test, self.case.state((kind, s)), kind)) for s in pattern.subjects or every]
        return [(Record(kind, subject), mask) for subject, mask in asked if mask]

    def _results(self, pattern: Pattern, test: Test) -> Iterator[tuple[Record, int]]:
        for operation, place in self.case.standing:
            wanted = not pattern.subjects or operation in pattern.subjects
            of_kind = not pattern.kinds or self.program.operations[operation].kind in pattern.kinds
            if wanted and of_kind and _true(test, self.case.state(("result", operation, place)).value):
                yield Record("result", operation, place), ALL

    def _values(self, fact: str, test: Test) -> Iterator[tuple[Record, int]]:
        state, places = self.case.state(("fact", fact)), self.program.facts[fact].places
        values = set(map(str, state.value)) | (set(places) if state.known is None else set())
        for value in sorted(values):
            if not _true(test, frozenset((value,))):
                continue
            mask = ALL
            if state.known is None:
                mask = PROVISIONALLY if value in state.assumed else 0
                mask |= POSSIBLY if value in places else 0
            if mask:
                yield Record("fact", fact, places.get(value, ""), value), mask

    def _parts(self, pattern: Pattern, test: Test) -> Iterator[tuple[Record, int]]:
        """Parts that the case lists: no test on a part holds of one that nothing is known or feared of."""
        kind, parts, listed = pattern.kind, self.program.parts, self.listed[pattern.kind]
        for id_ in pattern.subjects or ([p for p in parts if p in listed] if listed else ()):
            if id_ not in listed:
                continue
            systems: Iterable[str] = ("",)
            if pattern.relation:
                related = getattr(parts[id_], pattern.relation)
                if pattern.relation_variable:
                    systems = sorted(related)
                elif related.isdisjoint(pattern.systems):
                    continue
            for place, state in listed[id_]:
                mask = passes_of(test, state, kind)
                if mask:
                    for system in systems:
                        yield Record(kind, id_, place, system), mask


def passes_of(test: Test, state: State, kind: str) -> int:
    """The passes in which a test holds of a slot."""
    if state.known is not None:
        return ALL if _true(test, state.known) else 0
    if test.op == "not_known":
        return PROVISIONALLY | POSSIBLY
    found = PROVISIONALLY if _true(test, state.assumed) else 0
    # an un-looked-up procedure is no reason to drop a line: the line's strength already says it
    if kind != "procedure" or test.values != ("not_required",):
        found |= POSSIBLY
    return found


def _true(test: Test, values: frozenset[Value]) -> bool:
    op = test.op
    if op == "any_of":
        return not values.isdisjoint(test.values)
    if op == "none_of":
        return values.isdisjoint(test.values)
    if op == "some":
        return len(values) > 0
    if op == "at_least":
        return any(float(v) >= float(test.values[0]) for v in values)
    if op == "below":
        return any(float(v) < float(test.values[0]) for v in values)
    return False  # not_known, of something known


def matches(a: Alternative, world: World) -> Iterator[tuple[Firing, Mapping[str, str], int]]:
    """Every match of an alternative: the firing, the names it binds and its passes."""
    for records, bound, mask in joined(world.lookup.body(a), world):
        yield Firing(a.id, records), dict(zip(names(a), bound, strict=True)), mask


def joined(body: Body, world: World) -> Sequence[Joined]:
    """Every match of an alternative: the records, what is bound, and the passes."""
    mask = world.opened(body)
    found: list[Joined] = [((), (), mask)] if mask else []
    for n, first, fresh, same in body[2]:
        longer: list[Joined] = []
        for records, bound, mask in found:
            for record, held in world.met_with(n, first[0], bound[first[1]]) if first else world.met(n):
                both = held & mask
                if both:
                    now = (*bound, *[record[at] for at in fresh]) if fresh else bound
                    if not same or all(record[at] == now[i] for at, i in same):
                        longer.append(((*records, record), now, both))
        found = longer
        if not found:
            break
    return found


def effects(a: Alternative, bound: Bound, world: World) -> tuple[Record, ...]:
    """The records a firing makes, by what it has bound."""
    return made_by(a, world.lookup.body(a), bound, world.program)
