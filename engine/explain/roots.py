"""From firings down to the answers and rules they rest on."""

from __future__ import annotations

from collections.abc import Iterable

from ..model.case import Slot
from ..model.outcome import PROVISIONAL, Firing, Record
from ..model.record import dataclass, field
from ..model.rule import Pattern
from .facts import MADE, Evidence, record_slot


@dataclass(slots=True)
class Roots:
    """The answers and rules that firings of one moment rest on, through every chain.

    What a rule needed to be absent is looked up in the other moment, where it may have been there.
    """

    evidence: Evidence
    other: Evidence
    standing: str = PROVISIONAL
    _done: dict[Record, tuple[frozenset[Slot], frozenset[str]]] = field(default_factory=dict)

    def of(self, firings: Iterable[Firing]) -> tuple[frozenset[Slot], frozenset[str]]:
        """Slots and rule ids behind these firings."""
        slots, rules = set[Slot](), set[str]()
        for firing in firings:
            a = self.evidence.by_id[firing.alternative]
            rules.add(a.rule.id)
            for pattern in (*a.ground, *(p for group in a.unless for p in group)):
                slots.update(self.evidence.slots(pattern))
                if pattern.kind in MADE:
                    self._add(self._blockers(pattern), slots, rules)
            for record in firing.records:
                if record.kind not in MADE:
                    slots.add(record_slot(record))
                if record.kind in MADE or record.kind == "fitted":
                    self._add(self._record(record), slots, rules)
        return frozenset(slots), frozenset(rules)

    @staticmethod
    def _add(found: tuple[frozenset[Slot], frozenset[str]], slots: set[Slot], rules: set[str]) -> None:
        slots |= found[0]
        rules |= found[1]

    def _record(self, record: Record) -> tuple[frozenset[Slot], frozenset[str]]:
        if record not in self._done:
            self._done[record] = (frozenset(), frozenset())  # a chain that leads back here adds nothing
            makers = self.evidence.found.strengths[self.standing].makers
            self._done[record] = self.of(makers.get(record, ()))
        return self._done[record]

    def _blockers(self, pattern: Pattern) -> tuple[frozenset[Slot], frozenset[str]]:
        makers = self.other.found.strengths[self.standing].makers
        there = [
            f
            for r, fs in makers.items()
            if r.kind == pattern.kind and r.subject in pattern.subjects
            for f in fs
        ]
        return (
            Roots(self.other, self.evidence, self.standing).of(there) if there else (frozenset(), frozenset())
        )
