"""What the first engine is told: records with one marker per pattern they satisfy.

Every test of the vocabulary is settled here, once per case and pass; what is left to the engine are joins and
chaining over equality, the part of its language that was verified.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from ..model.case import Case, Slot, State
from ..model.catalogue import Test, Value
from ..model.outcome import FIRM, POSSIBLE, Record
from ..model.places import meets
from ..model.program import Program
from ..model.rule import Pattern

CHUNK = 40  # the engine repeats a whole record with each firing, so wide ones cost
MADE = ("derived", "severity", "planned", "fitted")
Group = tuple[Pattern, ...]


@dataclass(slots=True)
class Markers:
    """The numbering of conjunctions and record patterns of one program."""

    conjunctions: dict[str, int] = field(default_factory=dict)
    bodies: list[tuple[Group, tuple[Group, ...]]] = field(default_factory=list)
    numbers: dict[Pattern, int] = field(default_factory=dict)
    by_subject: dict[tuple[str, str], list[tuple[int, str]]] = field(default_factory=dict)
    by_part: dict[tuple[str, str], list[tuple[int, frozenset[Value], str]]] = field(default_factory=dict)
    exploded: dict[tuple[str, str], list[tuple[int, frozenset[Value], str, str]]] = field(
        default_factory=dict
    )
    others: list[tuple[int, Pattern]] = field(default_factory=list)
    late: dict[str, int] = field(default_factory=dict)
    late_groups: list[tuple[int, int, tuple[Group, ...]]] = field(default_factory=list)


def number_patterns(program: Program) -> Markers:
    """Give every conjunction of ground patterns and every record pattern its marker."""
    markers, seen = Markers(), {}
    for a in program.alternatives:
        early = tuple(g for g in a.unless if not any(p.kind in MADE for p in g))
        late = tuple(g for g in a.unless if any(p.kind in MADE for p in g))
        if a.ground or early:
            body = (a.ground, early)
            if body not in seen:
                seen[body] = len(markers.bodies)
                markers.bodies.append(body)
            markers.conjunctions[a.id] = seen[body]
        if late:
            markers.late[a.id] = len(markers.late_groups)
            markers.late_groups.append((a.stratum, len(markers.late_groups), late))
        for pattern in a.records:
            if _plain(pattern) not in markers.numbers:
                _number(_plain(pattern), markers, program)
    return markers


def _plain(pattern: Pattern) -> Pattern:
    """The pattern without the names it binds: those are joined by the engine, not tested here."""
    if not (pattern.variable or pattern.place.startswith("$") or pattern.relation_variable):
        return pattern
    place = "" if pattern.place.startswith("$") else pattern.place
    exploded = "$" if pattern.relation_variable else ""
    return Pattern(
        pattern.kind,
        pattern.subjects,
        "",
        pattern.test,
        pattern.relation,
        pattern.systems,
        exploded,
        pattern.kinds,
        place,
        pattern.span,
    )


def marker(pattern: Pattern, markers: Markers) -> str:
    """The property a record carries when it satisfies a record pattern."""
    return f"t{markers.numbers[_plain(pattern)]}"


def _number(pattern: Pattern, markers: Markers, program: Program) -> None:
    number = markers.numbers[pattern] = len(markers.numbers)
    if pattern.kind in MADE:
        for subject in pattern.subjects or ("*",):
            markers.by_subject.setdefault((pattern.kind, subject), []).append((number, pattern.place))
    if pattern.kind in ("touched", "damaged"):
        values = frozenset(pattern.test.values if pattern.test else ())
        for id_ in pattern.subjects or tuple(program.parts):
            related: frozenset[str] = (
                getattr(program.parts[id_], pattern.relation) if pattern.relation else frozenset()
            )
            if pattern.relation_variable:
                rows = markers.exploded.setdefault((pattern.kind, id_), [])
                rows += [(number, values, pattern.place, system) for system in sorted(related)]
            elif not pattern.relation or related & frozenset(pattern.systems):
                markers.by_part.setdefault((pattern.kind, id_), []).append((number, values, pattern.place))
    elif pattern.kind not in ("derived", "severity", "planned"):
        markers.others.append((number, pattern))


class Reading:
    """One case under one reading of its unknowns."""

    def __init__(self, program: Program, case: Case, standing: str, markers: Markers) -> None:
        self.program, self.case, self.standing, self.markers = program, case, standing, markers
        self.asked: dict[int, bool] = {}

    def test(self, state: State, test: Test, kind: str = "") -> bool:
        """A test on one slot in this reading."""
        values = state.known
        if values is None:
            if self.standing == FIRM:
                return False
            if test.op == "not_known":
                return True
            if self.standing == POSSIBLE:
                return not (kind == "procedure" and test.values == ("not_required",))
            values = state.assumed
        return _OPS[test.op](values, test.values)

    def ask(self, pattern: Pattern) -> bool:
        """Whether a pattern on the case (not on made records) has a match."""
        key = id(pattern)
        if key not in self.asked:
            self.asked[key] = self._ask(pattern)
        return self.asked[key]

    def _ask(self, pattern: Pattern) -> bool:
        kind, test = pattern.kind, pattern.test
        slots, state = self.case.slots, self.case.state
        assert test is not None
        if kind == "fact" and pattern.place:
            return any(meets(pattern.place, r.place) for r in self.values(pattern.subjects[0], test))
        if kind in ("touched", "damaged"):
            return any(True for _ in self.parts_for(pattern, test))
        if kind == "result":
            return any(True for _ in self.results(pattern, test))
        subjects = pattern.subjects or tuple(s[1] for s in slots if s[0] == kind)
        return any(self.test(state((kind, s)), test, kind) for s in subjects)

    def parts_for(self, pattern: Pattern, test: Test) -> Iterator[Slot]:
        """The part slots a pattern meets."""
        parts = self.program.parts
        for slot, state in self.case.slots.items():
            if slot[0] != pattern.kind or (pattern.subjects and slot[1] not in pattern.subjects):
                continue
            if pattern.relation and not getattr(parts[slot[1]], pattern.relation) & frozenset(
                pattern.systems
            ):
                continue
            if (not pattern.place or meets(pattern.place, slot[2])) and self.test(state, test):
                yield slot

    def results(self, pattern: Pattern, test: Test) -> Iterator[Record]:
        """The standing results a pattern meets."""
        for operation, place in self.case.standing:
            if pattern.subjects and operation not in pattern.subjects:
                continue
            if pattern.kinds and self.program.operations[operation].kind not in pattern.kinds:
                continue
            if pattern.place and not meets(pattern.place, place):
                continue
            if _OPS[test.op](self.case.state(("result", operation, place)).value, test.values):
                yield Record("result", operation, place)

    def values(self, fact: str, test: Test) -> Iterator[Record]:
        """The values of a fact, one record each, with their places."""
        state, places = self.case.state(("fact", fact)), self.program.facts[fact].places
        given: frozenset[Value] | tuple[str, ...] = state.value
        if state.known is None and self.standing == FIRM:
            return
        if state.known is None and self.standing == POSSIBLE:
            given = tuple(places)
        for value in sorted(str(v) for v in given):
            if _OPS[test.op](frozenset((value,)), test.values):
                yield Record("fact", fact, places.get(value, ""), value)

    def conjunctions(self) -> list[int]:
        """The conjunctions that hold; `unless` on the case is judged in the opposite reading by the caller."""
        return [n for n, (ground, _) in enumerate(self.markers.bodies) if all(self.ask(p) for p in ground)]

    def records(self) -> Iterator[tuple[Record, list[int]]]:
        """Every record of the case that some record pattern meets, with the patterns it satisfies."""
        yield from self._part_records()
        found: dict[Record, list[int]] = {}
        for number, pattern in self.markers.others:
            for record in self._others(pattern):
                found.setdefault(record, []).append(number)
        yield from found.items()

    def _part_records(self) -> Iterator[tuple[Record, list[int]]]:
        unknown_counts = self.standing == POSSIBLE
        for slot, state in self.case.slots.items():
            if slot[0] not in ("touched", "damaged"):
                continue
            values, free = state.known, False
            if values is None:
                values, free = state.assumed, unknown_counts
                if self.standing == FIRM:
                    continue
            if not values and not free:
                continue
            key, place = (slot[0], slot[1]), slot[2]
            hits = [
                number
                for number, wanted, where in self.markers.by_part.get(key, ())
                if (free or not wanted.isdisjoint(values)) and (not where or meets(where, place))
            ]
            if hits:
                yield Record(slot[0], slot[1], place), hits
            by_system: dict[str, list[int]] = {}
            for number, wanted, where, system in self.markers.exploded.get(key, ()):
                if (free or not wanted.isdisjoint(values)) and (not where or meets(where, place)):
                    by_system.setdefault(system, []).append(number)
            for system, numbers in by_system.items():
                yield Record(slot[0], slot[1], place, system), numbers

    def _others(self, pattern: Pattern) -> Iterator[Record]:
        kind, test = pattern.kind, pattern.test
        assert test is not None
        if kind == "fact":
            yield from (
                r
                for r in self.values(pattern.subjects[0], test)
                if not pattern.place or meets(pattern.place, r.place)
            )
        elif kind == "result":
            yield from self.results(pattern, test)
        else:
            catalogue = self.program.operations if kind == "procedure" else self.program.systems
            for subject in pattern.subjects or catalogue:
                if self.test(self.case.state((kind, subject)), test, kind):
                    yield Record(kind, subject)

    def made_markers(self, record: Record) -> list[int]:
        """The patterns a made record satisfies."""
        rows = self.markers.by_subject
        both = (*rows.get((record.kind, record.subject), ()), *rows.get((record.kind, "*"), ()))
        return [number for number, where in both if not where or meets(where, record.place)]


def blocked(groups: tuple[Group, ...], reading: Reading, made: set[Record]) -> bool:
    """Whether some `unless` group holds in the given reading and its made records."""
    return any(all(_seen(p, reading, made) for p in group) for group in groups)


def _seen(pattern: Pattern, reading: Reading, made: set[Record]) -> bool:
    if pattern.kind not in MADE:
        return reading.ask(pattern)
    if pattern.kind == "fitted" and reading.ask(pattern):
        return True
    return any(
        r.kind == pattern.kind
        and (not pattern.subjects or r.subject in pattern.subjects)
        and (not pattern.place or meets(pattern.place, r.place))
        for r in made
    )


_OPS: dict[str, Callable[[Any, Any], bool]] = {
    "any_of": lambda values, wanted: not values.isdisjoint(wanted),
    "none_of": lambda values, wanted: values.isdisjoint(wanted),
    "some": lambda values, wanted: bool(values),
    "at_least": lambda values, wanted: any(v >= wanted[0] for v in values),
    "below": lambda values, wanted: any(v < wanted[0] for v in values),
    "not_known": lambda values, wanted: False,
}
