"""Packs, linked: everything inference and planning need, in one immutable object."""

from __future__ import annotations

from collections.abc import Mapping
from weakref import WeakKeyDictionary

from .catalogue import Derived, Event, FactSpec, Implied, Impossible, Operation, Part, Source, System
from .record import dataclass, field
from .rule import Alternative, Promise, Rule, Scenario
from .span import NOWHERE, Span


@dataclass(frozen=True, slots=True)
class PackId:
    """What a plan says of each pack it used."""

    name: str
    version: str
    sha256: str
    title: str
    date: str
    folder: str
    review_days: int = 0  # how old a source's review may be; 0: the pack sets no limit
    changes: tuple[tuple[str, str], ...] = ()  # version and what it changed, newest first as written
    changes_span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A finding the pack's author has seen and means to keep: its code, the id it is about, and why."""

    code: str
    at: str
    reason: str
    span: Span


@dataclass(frozen=True, slots=True)
class Labour:
    """What a shop adds to an operation: who does it, for how long, and whether it goes out."""

    category: str
    hours: float | None
    sublet: bool


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Program:
    """A stack of packs, checked and linked. Immutable; compiled engines hang off it by identity."""

    packs: tuple[PackId, ...]
    facts: Mapping[str, FactSpec]
    derived: Mapping[str, Derived]
    systems: Mapping[str, System]
    parts: Mapping[str, Part]
    operations: Mapping[str, Operation]
    phases: Mapping[str, str]
    preconditions: Mapping[str, str]
    cautions: Mapping[str, str]
    events: Mapping[str, Event]
    sources: Mapping[str, Source]
    impossible: tuple[Impossible, ...]
    implied: tuple[Implied, ...]
    rules: Mapping[str, Rule]
    overridden: Mapping[str, Rule]
    alternatives: tuple[Alternative, ...]
    strata: int
    labour: Mapping[str, Labour]
    limits: Mapping[str, Mapping[str, Mapping[str, object]]]
    scenarios: tuple[Scenario, ...]
    accepted: tuple[Acceptance, ...] = ()
    promises: tuple[Promise, ...] = ()
    limit_spans: Mapping[str, Mapping[str, Span]] = field(default_factory=dict)  # by operation and reading
    former: Mapping[str, Rule] = field(default_factory=dict)  # what was overridden, as it was

    def __hash__(self) -> int:
        return id(self)

    def __eq__(self, other: object) -> bool:
        return self is other


_BY_ID: WeakKeyDictionary[Program, dict[str, Alternative]] = WeakKeyDictionary()


def alternatives_by_id(program: Program) -> Mapping[str, Alternative]:
    """The alternatives of a program by their ids."""
    found = _BY_ID.get(program)
    if found is None:
        found = _BY_ID[program] = {a.id: a for a in program.alternatives}
    return found
