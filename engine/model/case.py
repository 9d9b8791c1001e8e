"""A case: what is known of one vehicle and its event, what is not, and what was done so far.

A slot is one thing that can be asked: ('fact', id), ('fitted', system), ('touched', part, place),
('damaged', part, place), ('code', system), ('method', system), ('procedure', operation) or
('result', operation, place).
"""

from __future__ import annotations

from collections.abc import Mapping

from .catalogue import Value
from .record import dataclass, field
from .span import NOWHERE, Span

Slot = tuple[str, ...]
NOTHING: frozenset[Value] = frozenset()


@dataclass(frozen=True, slots=True)
class State:
    """What a slot holds: known values (an empty set is a known "none"), or None and the cautious assumption."""

    known: frozenset[Value] | None
    assumed: frozenset[Value] = NOTHING
    span: Span = NOWHERE
    said_by: str = ""

    @property
    def value(self) -> frozenset[Value]:
        """The known values, else the assumed ones."""
        return self.assumed if self.known is None else self.known


CLOSED = State(NOTHING)


@dataclass(frozen=True, slots=True)
class Procedure:
    """What the looked-up repair procedure says of one operation."""

    operation: str
    document: str
    version: str
    looked_up: str
    verdict: str
    limits: Mapping[str, Mapping[str, object]]
    span: Span


@dataclass(frozen=True, slots=True)
class Entry:
    """One dated line of the log: an operation done, an event, or a waiver."""

    at: str
    did: str = ""
    place: str = ""
    result: str = ""
    event: str = ""
    part: str = ""
    system: str = ""
    waived: str = ""
    by: str = ""
    why: str = ""
    note: str = ""
    readings: Mapping[str, object] = field(default_factory=dict)
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Undone:
    """A result that no longer stands, and the later entry that took it away."""

    result: Entry
    by: Entry


@dataclass(slots=True)
class Answers:
    """What was said, before anything is assumed. `rest_clear`: everything not said is known and negative."""

    said: dict[Slot, State] = field(default_factory=dict)
    rest_clear: bool = False
    none_other_fitted: bool = False
    disputes: list[tuple[str, tuple[Span, ...]]] = field(default_factory=list)

    def say(self, slot: Slot, values: frozenset[Value], span: Span = NOWHERE, by: str = "") -> None:
        """Record a known answer."""
        self.said[slot] = State(values, NOTHING, span, by)

    def copy(self) -> Answers:
        """An independent copy, to try an answer on."""
        return Answers(dict(self.said), self.rest_clear, self.none_other_fitted, list(self.disputes))


@dataclass(frozen=True, slots=True)
class Case:
    """A checked case. Slots not in `slots` are known to be empty."""

    id: str
    date: str
    vehicle: Mapping[str, object]
    slots: Mapping[Slot, State]
    procedures: Mapping[str, Procedure]
    log: tuple[Entry, ...]
    standing: Mapping[tuple[str, str], Entry]
    undone: tuple[Undone, ...]
    file: str = ""
    answers: Answers = field(default_factory=Answers)

    def state(self, slot: Slot) -> State:
        """The state of a slot; one nobody listed is known to be empty."""
        return self.slots.get(slot, CLOSED)
