"""The numbering the first engine works with: one marker per question, conjunction and record pattern."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from ..model.case import Slot
from ..model.catalogue import Test, Value
from ..model.outcome import Record
from ..model.places import meets
from ..model.program import Program
from ..model.record import dataclass, field
from ..model.rule import Alternative, Pattern

MADE = ("derived", "severity", "planned", "fitted")
PARTS = ("touched", "damaged")
GIVEN = (*PARTS, "result")
Group = tuple[Pattern, ...]


@dataclass(frozen=True, slots=True)
class Ask:
    """One question to the case: whether some of its slots passes a test. Results and places are found by pattern.

    `slot`: the only one, else (). `disjoint`, where the test only looks whether the values wanted are among those
    there: says that they are not; the test fails when that is `fails`.
    """

    pattern: Pattern
    slots: tuple[Slot, ...]
    test: Test
    slot: Slot
    disjoint: Callable[[frozenset[Value]], bool] | None
    fails: bool


@dataclass(frozen=True, slots=True)
class Row:
    """A record pattern as one slot of a part meets it: its number, the values wanted, and the system exploded."""

    number: int
    wanted: frozenset[Value]
    system: str


@dataclass(slots=True)
class Markers:
    """The numbering of questions, conjunctions and record patterns of one program.

    `alone`: the conjunctions that rules without record patterns fire by, each with its number among them. `carried`:
    for each record pattern the conjunctions that are told with the records that meet it, and the mark for both.
    `with_planned`: patterns on procedures of which every rule also wants the operation planned; they are looked at
    only for operations that are.
    """

    asks: list[Ask] = field(default_factory=list)
    asked: dict[Pattern, int] = field(default_factory=dict)
    bodies: dict[tuple[tuple[int, ...], tuple[tuple[int, ...], ...]], int] = field(default_factory=dict)
    conjunctions: dict[str, int] = field(default_factory=dict)
    alone: dict[int, int] = field(default_factory=dict)
    carried: dict[int, dict[int | None, int]] = field(default_factory=dict)
    marks: int = 0
    numbers: dict[Pattern, int] = field(default_factory=dict)
    seen: dict[int, int] = field(default_factory=dict)  # the same by identity: the program keeps its patterns
    by_subject: dict[tuple[str, str], list[tuple[int, str]]] = field(default_factory=dict)
    part_patterns: dict[tuple[str, str], list[tuple[int, Pattern]]] = field(default_factory=dict)
    by_slot: dict[Slot, tuple[Row, ...]] = field(default_factory=dict)  # of the slots looked at so far
    others: list[tuple[int, Pattern]] = field(default_factory=list)
    with_planned: list[tuple[int, Pattern]] = field(default_factory=list)
    late: dict[str, int] = field(default_factory=dict)
    late_groups: list[tuple[int, tuple[Group, ...]]] = field(default_factory=list)


def number_questions(program: Program) -> Markers:
    """Give every question to a case, and every conjunction of ground patterns, its number."""
    markers = Markers()
    for a in program.alternatives:
        early = tuple(g for g in a.unless if not any(p.kind in MADE for p in g))
        late = tuple(g for g in a.unless if any(p.kind in MADE for p in g))
        if a.ground or early:
            body = _asked(a.ground, markers, program), tuple(_asked(g, markers, program) for g in early)
            markers.conjunctions[a.id] = markers.bodies.setdefault(body, len(markers.bodies))
        if late:
            markers.late[a.id] = len(markers.late_groups)
            markers.late_groups.append((a.stratum, late))
            for group in late:
                _asked([p for p in group if p.kind == "fitted" or p.kind not in MADE], markers, program)
    return markers


def number_records(rules: Sequence[Alternative], markers: Markers) -> None:
    """Give the record patterns of some alternatives their numbers, and the conjunctions they carry."""
    for a in rules:
        for pattern in a.records:
            _number(pattern, markers)
        _carry(a, markers)
    alone = {_plain(p) for a in rules for p in a.records if _alone(p, a)}
    markers.with_planned = [(n, p) for n, p in markers.others if p.kind == "procedure" and p not in alone]
    markers.others = [(n, p) for n, p in markers.others if p.kind != "procedure" or p in alone]


def _carry(a: Alternative, markers: Markers) -> None:
    """The first record of a match carries the conjunction: one condition of the engine instead of a join of two."""
    body = markers.conjunctions.get(a.id)
    if not a.records and body is not None:
        markers.alone.setdefault(body, len(markers.alone))
    for i, pattern in enumerate(a.records):
        marks, carries = markers.carried.setdefault(number_of(pattern, markers), {}), None if i else body
        if carries not in marks:
            marks[carries] = markers.marks
            markers.marks += 1


def _alone(pattern: Pattern, a: Alternative) -> bool:
    """Whether a rule asks of a procedure whose operation it does not also want planned."""
    if pattern.kind != "procedure":
        return False
    return pattern.variable not in {p.variable for p in a.records if p.kind == "planned" and p.variable}


def _asked(patterns: Iterable[Pattern], markers: Markers, program: Program) -> tuple[int, ...]:
    numbers = []
    for pattern in patterns:
        number = markers.asked.get(pattern)
        if number is None:
            number = markers.asked[pattern] = len(markers.asks)
            markers.asks.append(_ask(pattern, program))
        numbers.append(number)
    return tuple(numbers)


def _ask(pattern: Pattern, program: Program) -> Ask:
    kind, slots = pattern.kind, tuple[Slot, ...]()
    if kind in PARTS:
        slots = tuple(
            (kind, id_, place)
            for id_, place in _part_places(pattern, program)
            if not pattern.relation or _related(pattern, id_, program) & frozenset(pattern.systems)
        )
    elif kind != "result" and not (kind == "fact" and pattern.place):
        catalogue = program.operations if kind == "procedure" else program.systems
        slots = tuple((kind, subject) for subject in pattern.subjects or catalogue)
    test = pattern.test or Test("some")
    among = test.op in ("any_of", "none_of")
    return Ask(
        pattern,
        slots,
        test,
        slots[0] if len(slots) == 1 else (),
        frozenset(test.values).isdisjoint if among else None,
        test.op == "any_of",
    )


def _part_places(pattern: Pattern, program: Program) -> Iterator[tuple[str, str]]:
    for id_ in pattern.subjects or program.parts:
        for place in program.parts[id_].places:
            if not pattern.place or meets(pattern.place, place):
                yield id_, place


def _related(pattern: Pattern, part: str, program: Program) -> frozenset[str]:
    found: frozenset[str] = getattr(program.parts[part], pattern.relation)
    return found


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


def number_of(pattern: Pattern, markers: Markers) -> int:
    """The number of a record pattern; a record that satisfies it carries the property `t<number>`."""
    return markers.seen[id(pattern)]


def made_markers(record: Record, markers: Markers) -> list[int]:
    """The patterns a made record satisfies."""
    rows = markers.by_subject
    both = (*rows.get((record.kind, record.subject), ()), *rows.get((record.kind, "*"), ()))
    return [number for number, where in both if not where or meets(where, record.place)]


def _number(written: Pattern, markers: Markers) -> None:
    pattern = _plain(written)
    number = markers.numbers.get(pattern)
    if number is not None:
        markers.seen[id(written)] = number
        return
    number = markers.seen[id(written)] = markers.numbers[pattern] = len(markers.numbers)
    if pattern.kind in MADE:
        for subject in pattern.subjects or ("*",):
            markers.by_subject.setdefault((pattern.kind, subject), []).append((number, pattern.place))
    if pattern.kind in PARTS:
        for id_ in pattern.subjects or ("*",):
            markers.part_patterns.setdefault((pattern.kind, id_), []).append((number, pattern))
    elif pattern.kind not in ("derived", "severity", "planned"):
        markers.others.append((number, pattern))


def part_rows(slot: Slot, markers: Markers, program: Program) -> tuple[Row, ...]:
    """The record patterns that look at a slot of a part; worked out when a case first has it."""
    rows = markers.by_slot.get(slot)
    if rows is None:
        kind, part, place = slot
        patterns = markers.part_patterns
        both = (*patterns.get((kind, part), ()), *patterns.get((kind, "*"), ()))
        seen = (row for number, p in both for row in _rows(number, p, part, place, program))
        rows = markers.by_slot[slot] = tuple(seen)
    return rows


def _rows(number: int, pattern: Pattern, part: str, place: str, program: Program) -> Iterator[Row]:
    if pattern.place and not meets(pattern.place, place):
        return
    wanted = frozenset(pattern.test.values if pattern.test else ())
    related = _related(pattern, part, program) if pattern.relation else frozenset()
    if pattern.relation_variable:
        yield from (Row(number, wanted, system) for system in sorted(related))
    elif not pattern.relation or not related.isdisjoint(pattern.systems):
        yield Row(number, wanted, "")
