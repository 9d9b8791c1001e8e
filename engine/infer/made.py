"""What a firing makes, for the first engine."""

from __future__ import annotations

from collections.abc import Iterator
from weakref import WeakKeyDictionary

from ..model.outcome import Record
from ..model.places import expand
from ..model.program import Program
from ..model.rule import Alternative

KINDS = {"plan": "planned", "conclude": "derived", "fits": "fitted", "severity": "severity"}


def bindings(a: Alternative, records: tuple[Record, ...]) -> dict[str, str]:
    """The names an alternative bound in its records."""
    bound: dict[str, str] = {}
    for pattern, record in zip(a.records, records, strict=True):
        if pattern.variable:
            bound[pattern.variable] = record.subject
        if pattern.relation_variable:
            bound[pattern.relation_variable] = record.system
        if pattern.place.startswith("$"):
            bound[pattern.place] = record.place
    return bound


def binds(a: Alternative) -> bool:
    """Whether what an alternative makes may differ from match to match."""
    return any(p.variable or p.relation_variable or p.place.startswith("$") for p in a.records)


def effects(a: Alternative, records: tuple[Record, ...], program: Program) -> tuple[Record, ...]:
    """The records a firing makes; worked out once per program for each way an alternative can bind its names."""
    known = _KNOWN.get(program)
    if known is None:
        known = _KNOWN[program] = {}
    fixed = known.get(a.id)
    if fixed:
        return fixed
    if fixed is None and not binds(a):
        known[a.id] = tuple(_effects(a, {}, program))
        return known[a.id]
    known[a.id] = ()  # it binds names: one entry for each way
    bound = bindings(a, records)
    key = (a.id, *bound.values())
    if key not in known:
        known[key] = tuple(_effects(a, bound, program))
    return known[key]


_KNOWN: WeakKeyDictionary[Program, dict[str | tuple[str, ...], tuple[Record, ...]]] = WeakKeyDictionary()


def _effects(a: Alternative, bound: dict[str, str], program: Program) -> Iterator[Record]:
    for effect in a.effects:
        kind = KINDS.get(effect.verb, effect.verb)
        place = bound.get(effect.place, "" if effect.place == "all" else effect.place)
        for written in effect.subjects:
            subject = bound.get(written, written)
            if kind == "severity":
                yield from (Record(kind, str(n)) for n in range(1, int(subject) + 1))
            elif kind == "fitted":
                yield Record(kind, subject)
            else:
                per = program.derived[subject].per if kind == "derived" else program.operations[subject].per
                yield from (Record(kind, subject, where) for where in expand(place, per))
