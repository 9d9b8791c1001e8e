"""What the check looks up of a program: patterns by number, where alternatives begin, and what they make.

Equal patterns share a number, so that a case settles each only once. Nothing of a case is kept here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from operator import attrgetter
from weakref import WeakKeyDictionary

from ..model.case import Slot
from ..model.catalogue import Test
from ..model.outcome import Record
from ..model.places import expand
from ..model.program import Program
from ..model.record import field_names
from ..model.rule import Alternative, Pattern

MADE_KINDS = ("derived", "severity", "planned", "fitted")
ONE_SLOT = ("fact", "fitted", "code", "method", "procedure")  # kinds of which each subject is one slot
# kinds of which there is no record but of what the case lists, of what was done and of what rules make
SPARSE = ("touched", "damaged", "result", "derived", "severity", "planned")
VERB_KINDS = {"plan": "planned", "conclude": "derived", "fits": "fitted"}
SUBJECT, PLACE, SYSTEM = 1, 2, 3  # where a record holds them
SOME = Test("some")

Bound = tuple[str, ...]  # what the names of an alternative stand for, in the order in which it binds them
Same = tuple[
    int, int
]  # where a record must hold what is bound already, and which of the bound things that is
# A record pattern of an alternative: its number; the first thing that earlier patterns have bound; where a record
# holds what is bound here; and all else that must be the same.
Sought = tuple[int, Same | None, tuple[int, ...], tuple[Same, ...]]
# The numbers of an alternative's ground patterns and of its `unless` groups, its record patterns, which of these look
# at what rules make, and what it was found to make, by what it has bound.
Body = tuple[
    tuple[int, ...],
    tuple[tuple[int, ...], ...],
    tuple[Sought, ...],
    tuple[int, ...],
    dict[Bound, tuple[Record, ...]],
]

_SAYS: Callable[[Pattern], tuple[object, ...]] = attrgetter(
    *[name for name in field_names(Pattern) if name not in ("test", "span")]
)


class Lookup:
    """One program. Numbers are given when first asked for, also to patterns that are not of the program.

    `asks`: by slot the patterns that ask nothing but that slot. `starts`: by kind and subject the alternatives, as
    places in the program, whose first record pattern such a record may meet; `asking`: those without record patterns,
    by their first ground pattern; `always`: the others.
    """

    def __init__(self, program: Program) -> None:
        self.numbers: dict[object, int] = {}
        self.patterns: list[Pattern] = []
        self.by_id: dict[int, int] = {}
        self.bodies: dict[int, Body] = {}
        self.asks: dict[Slot, list[tuple[int, Test]]] = {}
        self.starts: dict[tuple[str, str], list[int]] = {}
        self.asking: dict[int, list[int]] = {}
        self.always: list[int] = []
        self.strata: dict[int, list[tuple[int, frozenset[tuple[str, str]]]]] = {}
        self.own = {id(a) for a in program.alternatives}  # a program keeps its alternatives: ids stay theirs
        for i, a in enumerate(program.alternatives):
            if a.records and a.records[0].kind in SPARSE and a.records[0].subjects:
                for subject in a.records[0].subjects:
                    self.starts.setdefault((a.records[0].kind, subject), []).append(i)
            elif not a.records and a.ground and a.ground[0].kind not in MADE_KINDS:
                self.asking.setdefault(self._number(a.ground[0], True), []).append(i)
            else:
                self.always.append(i)

    def stratum(self, program: Program, number: int) -> list[tuple[int, frozenset[tuple[str, str]]]]:
        """The alternatives of a stratum, each with the kinds and subjects of the made records it may look at."""
        if number not in self.strata:
            listed = [(i, a) for i, a in enumerate(program.alternatives) if a.stratum == number]
            self.strata[number] = [(i, _looks_at(a)) for i, a in listed]
        return self.strata[number]

    def number(self, pattern: Pattern) -> int:
        """The number of a pattern."""
        return self._number(pattern, False)

    def _number(self, pattern: Pattern, own: bool) -> int:
        n = self.by_id.get(id(pattern))
        if n is None:
            test = pattern.test
            says = _SAYS(pattern), test and (test.op, test.values)
            n = self.numbers.get(says)
            if n is None:
                n = self.numbers[says] = len(self.patterns)
                self.patterns.append(pattern)
                plain = pattern.kind in ONE_SLOT and pattern.kind not in MADE_KINDS and not pattern.place
                if plain and len(pattern.subjects) == 1:
                    slot = pattern.kind, pattern.subjects[0]
                    self.asks.setdefault(slot, []).append((n, test or SOME))
            if own:
                self.by_id[id(pattern)] = n
        return n

    def body(self, a: Alternative) -> Body:
        """An alternative by numbers."""
        found = self.bodies.get(id(a))
        if found is None:
            own, number = id(a) in self.own, self._number
            found = (
                tuple([number(p, own) for p in a.ground]),
                tuple([tuple([number(p, own) for p in group]) for group in a.unless]) if a.unless else (),
                self._sought(a, own) if a.records else (),
                tuple([i for i, p in enumerate(a.records) if p.kind in MADE_KINDS]) if a.records else (),
                {},
            )
            if own:
                self.bodies[id(a)] = found
        return found

    def _sought(self, a: Alternative, own: bool) -> tuple[Sought, ...]:
        bound: list[str] = []
        found: list[Sought] = []
        for p in a.records:
            before, first = len(bound), None
            fresh: list[int] = []
            same: list[Same] = []
            for name, at in named(p):
                if name not in bound:
                    bound.append(name)
                    fresh.append(at)
                elif first is None and bound.index(name) < before:
                    first = at, bound.index(name)
                else:
                    same.append((at, bound.index(name)))
            found.append((self._number(p, own), first, tuple(fresh), tuple(same)))
        return tuple(found)


def _looks_at(a: Alternative) -> frozenset[tuple[str, str]]:
    """No subject stands for any."""
    patterns = [p for p in (*a.ground, *a.records) if p.kind in MADE_KINDS]
    return frozenset([(p.kind, subject) for p in patterns for subject in p.subjects or ("",)])


def named(pattern: Pattern) -> list[tuple[str, int]]:
    """The names in a pattern, each with where a record holds what it stands for."""
    words = (pattern.variable, SUBJECT), (pattern.relation_variable, SYSTEM), (pattern.place, PLACE)
    return [(word, at) for word, at in words if word and word[0] == "$"]


def names(a: Alternative) -> tuple[str, ...]:
    """The names an alternative binds, in order."""
    return tuple(dict.fromkeys([name for p in a.records for name, _ in named(p)]))


KNOWN: WeakKeyDictionary[Program, Lookup] = WeakKeyDictionary()


def lookup(program: Program) -> Lookup:
    """The lookup of a program, made at the first use."""
    found = KNOWN.get(program)
    if found is None:
        found = KNOWN[program] = Lookup(program)
    return found


def made_by(a: Alternative, body: Body, bound: Bound, program: Program) -> tuple[Record, ...]:
    """The records a firing makes, by what it has bound; worked out once for each way of binding."""
    found = body[4].get(bound)
    if found is None:
        found = body[4][bound] = tuple(_effects(a, dict(zip(names(a), bound, strict=True)), program))
    return found


def _effects(a: Alternative, bound: Mapping[str, str], program: Program) -> Iterator[Record]:
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
