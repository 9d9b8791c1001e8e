"""What the first engine is told: records with one marker per pattern they satisfy.

Every test of the vocabulary is settled here, once per case and for the three passes together: the answer is a mask
of the passes in which it holds. What is left to the engine are joins and chaining over equality, the part of its
language that was verified.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from ..model.case import CLOSED, Case, State
from ..model.catalogue import Test
from ..model.outcome import ACROSS, ALL, BIT, POSSIBLE, PROVISIONAL, Record
from ..model.places import meets
from ..model.program import Program
from ..model.rule import Alternative, Pattern
from .markers import GIVEN, MADE, PARTS, Ask, Group, Markers, part_rows

CHUNK = 40  # the engine repeats a whole record with each firing, so wide ones cost
MAYBE, ASSUMED = BIT[POSSIBLE], BIT[PROVISIONAL]
Marks = Mapping[int, int]


class Reading:
    """One case in all passes: for each question and each record the passes in which it holds."""

    def __init__(self, program: Program, case: Case, markers: Markers) -> None:
        self.program, self.case, self.markers = program, case, markers
        self.asked = list(self._answers())

    def test(self, state: State, test: Test, kind: str = "") -> int:
        """The passes in which a test holds of one slot."""
        op = _OPS[test.op]
        if state.known is not None:
            return ALL if op(state.known, test.values) else 0
        if test.op == "not_known":
            return MAYBE | ASSUMED
        # an un-looked-up procedure is no reason to drop a line: the line's strength already says it
        maybe = 0 if kind == "procedure" and test.values == ("not_required",) else MAYBE
        return maybe | ASSUMED if op(state.assumed, test.values) else maybe

    def _answers(self) -> Iterator[int]:
        state_of = self.case.slots.get
        for ask in self.markers.asks:
            state = state_of(ask.slot)
            if state is None or state.known is None:
                yield self._ask(ask)
            elif ask.disjoint:
                yield 0 if ask.disjoint(state.known) is ask.fails else ALL
            else:
                yield ALL if _OPS[ask.test.op](state.known, ask.test.values) else 0

    def _ask(self, ask: Ask) -> int:
        if not ask.slots:
            return self._search(ask.pattern, ask.test)
        found = 0
        for slot in ask.slots:
            found |= self.test(self.case.slots.get(slot, CLOSED), ask.test, ask.pattern.kind)
            if found == ALL:
                break
        return found

    def _search(self, pattern: Pattern, test: Test) -> int:
        if pattern.kind == "result":
            return ALL if any(True for _ in self._results(pattern, test)) else 0
        found = 0
        if pattern.kind == "fact":
            for _, mask in self._values(pattern, test):
                found |= mask
        return found

    def _results(self, pattern: Pattern, test: Test) -> Iterator[Record]:
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

    def _values(self, pattern: Pattern, test: Test) -> Iterator[tuple[Record, int]]:
        """The values of a fact that lie where a pattern looks, one record each."""
        fact = pattern.subjects[0]
        state, places = self.case.state(("fact", fact)), self.program.facts[fact].places
        masks = {str(v): ALL if state.known is not None else ASSUMED for v in state.value}
        if state.known is None:
            for value in places:
                masks[value] = masks.get(value, 0) | MAYBE
        for value in sorted(masks):
            place = places.get(value, "")
            if (not pattern.place or meets(pattern.place, place)) and _OPS[test.op](
                frozenset((value,)), test.values
            ):
                yield Record("fact", fact, place, value), masks[value]

    def conjunctions(self) -> list[int]:
        """For each conjunction the passes in which it holds; `unless` is judged in the opposite ones."""
        asked, found = self.asked, []
        for ground, groups in self.markers.bodies:
            mask = ALL
            for n in ground:
                mask &= asked[n]
                if not mask:
                    break
            for group in groups if mask else ():
                held = ALL
                for n in group:
                    held &= asked[n]
                mask &= ~ACROSS[held]
            found.append(mask)
        return found

    def records(self) -> Iterator[tuple[Record, Marks]]:
        """Every record of the case that some record pattern meets, with the patterns and passes."""
        yield from self._part_records()
        found: dict[Record, dict[int, int]] = {}
        for number, pattern in self.markers.others:
            for record, mask in self._others(pattern):
                found.setdefault(record, {})[number] = mask
        yield from found.items()

    def _part_records(self) -> Iterator[tuple[Record, Marks]]:
        for slot, state in self.case.slots.items():
            if slot[0] not in PARTS or not (state.known or state.known is None):
                continue
            found: dict[str, dict[int, int]] = {}
            for row in part_rows(slot, self.markers, self.program):
                if state.known is None:
                    mask = MAYBE if row.wanted.isdisjoint(state.assumed) else MAYBE | ASSUMED
                else:
                    mask = 0 if row.wanted.isdisjoint(state.known) else ALL
                if mask:
                    found.setdefault(row.system, {})[row.number] = mask
            for system, marks in found.items():
                yield Record(slot[0], slot[1], slot[2], system), marks

    def _others(self, pattern: Pattern) -> Iterator[tuple[Record, int]]:
        kind, test = pattern.kind, pattern.test or Test("some")
        if kind == "fact":
            yield from self._values(pattern, test)
        elif kind == "result":
            yield from ((record, ALL) for record in self._results(pattern, test))
        else:
            catalogue = self.program.operations if kind == "procedure" else self.program.systems
            for subject in pattern.subjects or catalogue:
                mask = self.test(self.case.state((kind, subject)), test, kind)
                if mask:
                    yield Record(kind, subject), mask

    def procedure(self, operation: str) -> tuple[Record, Marks]:
        """What the procedure says of a planned operation, for the patterns that ask only of such."""
        state, marks = self.case.state(("procedure", operation)), dict[int, int]()
        for number, pattern in self.markers.with_planned:
            if not pattern.subjects or operation in pattern.subjects:
                mask = self.test(state, pattern.test or Test("some"), "procedure")
                if mask:
                    marks[number] = mask
        return Record("procedure", operation), marks

    def open(self, groups: tuple[Group, ...], made: Mapping[Record, int]) -> int:
        """The passes in which no `unless` group holds, given what was made so far; each looks at its opposite."""
        mask = ALL
        for group in groups:
            held = ALL
            for pattern in group:
                held &= self._seen(pattern, made)
            mask &= ~ACROSS[held]
        return mask

    def _seen(self, pattern: Pattern, made: Mapping[Record, int]) -> int:
        number = self.markers.asked.get(pattern)
        found = 0 if number is None else self.asked[number]
        if pattern.kind not in MADE:
            return found
        for r, mask in made.items():
            if (
                r.kind == pattern.kind
                and (not pattern.subjects or r.subject in pattern.subjects)
                and (not pattern.place or meets(pattern.place, r.place))
            ):
                found |= mask
        return found


def relevant(reading: Reading) -> list[Alternative]:
    """The alternatives that can fire in a case: what they ask of all of it holds in some pass, and of each part,
    and each result, they ask for there is one. Only a case has those, no rule makes them."""
    case, conjunctions, bodies = reading.case, reading.markers.conjunctions, reading.conjunctions()
    there = {(kind, of) for kind, of, *_ in case.slots if kind in PARTS}
    there |= {("result", operation) for operation, _ in case.standing}
    kinds = {kind for kind, _ in there}
    return [
        a
        for a in reading.program.alternatives
        if ((body := conjunctions.get(a.id)) is None or bodies[body])
        and all(
            p.kind not in GIVEN
            or (any((p.kind, s) in there for s in p.subjects) if p.subjects else p.kind in kinds)
            for p in a.records
        )
    ]


_OPS: dict[str, Callable[[Any, Any], bool]] = {
    "any_of": lambda values, wanted: not values.isdisjoint(wanted),
    "none_of": lambda values, wanted: values.isdisjoint(wanted),
    "some": lambda values, wanted: bool(values),
    "at_least": lambda values, wanted: any(v >= wanted[0] for v in values),
    "below": lambda values, wanted: any(v < wanted[0] for v in values),
    "not_known": lambda values, wanted: False,
}
