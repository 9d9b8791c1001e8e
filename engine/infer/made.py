"""What a firing makes, for the first engine."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from weakref import WeakKeyDictionary

from ..model.outcome import Firing, Record
from ..model.places import expand
from ..model.program import Program, alternatives_by_id
from ..model.rule import Alternative

KINDS = {"plan": "planned", "conclude": "derived", "fits": "fitted", "severity": "severity"}


def effects(a: Alternative, records: tuple[Record, ...], program: Program) -> tuple[Record, ...]:
    """The records a firing makes; worked out once per program for each way an alternative can bind its names."""
    makings = _makings(program)
    making = makings.get(a.id) or makings.setdefault(a.id, _Making(a))
    return making.made(making.values(records), program)


# firings of one alternative that bind the same names, and so make the same
Way = tuple[Alternative, tuple[Record, ...], list[Firing]]


def ways(program: Program, firings: Iterable[Firing]) -> list[Way]:
    """The firings by what they make, as they come."""
    makings, found = _makings(program), dict[tuple[str, tuple[str, ...]], Way]()
    for firing in firings:
        id_, records = firing
        making = makings[id_]
        values = making.values(records) if making.names else ()
        key = id_, values
        way = found.get(key)
        if way is None:
            found[key] = making.alternative, making.made(values, program), [firing]
        else:
            way[2].append(firing)
    return list(found.values())


class _Making:
    """What an alternative makes, by the values of the names it binds."""

    def __init__(self, a: Alternative) -> None:
        self.alternative, self.names = a, dict(_names(a))
        self.at = tuple(self.names.values())
        self.known: dict[tuple[str, ...], tuple[Record, ...]] = {}

    def values(self, records: tuple[Record, ...]) -> tuple[str, ...]:
        return tuple([records[i][j] for i, j in self.at])

    def made(self, values: tuple[str, ...], program: Program) -> tuple[Record, ...]:
        made = self.known.get(values)
        if made is None:
            bound = dict(zip(self.names, values, strict=True))
            made = self.known[values] = tuple(dict.fromkeys(_effects(self.alternative, bound, program)))
        return made


class _Makings(dict[str, _Making]):
    """Those of a program by id, each made when first asked for."""

    def __init__(self, by_id: Mapping[str, Alternative]) -> None:
        super().__init__()
        self.by_id = by_id

    def __missing__(self, id_: str) -> _Making:
        found = self[id_] = _Making(self.by_id[id_])
        return found


def _makings(program: Program) -> _Makings:
    found = _MAKINGS.get(program)
    if found is None:
        found = _MAKINGS[program] = _Makings(alternatives_by_id(program))
    return found


_MAKINGS: WeakKeyDictionary[Program, _Makings] = WeakKeyDictionary()
SUBJECT, PLACE, SYSTEM = 1, 2, 3  # where in a record


def _names(a: Alternative) -> Iterator[tuple[str, tuple[int, int]]]:
    """The names an alternative binds, each with the record and the field that give its value."""
    for i, pattern in enumerate(a.records):
        if pattern.variable:
            yield pattern.variable, (i, SUBJECT)
        if pattern.relation_variable:
            yield pattern.relation_variable, (i, SYSTEM)
        if pattern.place.startswith("$"):
            yield pattern.place, (i, PLACE)


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
