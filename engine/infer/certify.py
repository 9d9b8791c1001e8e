"""What the second evaluator is for: the fixpoint without the first engine, and the verdict on it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

from ..diagnostics.message import InferenceFault
from ..model.case import Case
from ..model.catalogue import Test
from ..model.outcome import BIT, STANDINGS, Firing, Fixpoint, Record
from ..model.program import Program
from ..model.record import dataclass
from .check import MADE_KINDS, World, effects, matches

YES = Test("any_of", ("yes",))
T = TypeVar("T")


def fixpoints(program: Program, case: Case) -> dict[str, Fixpoint]:
    """All three passes by plain iteration, stratum by stratum."""
    world, fired = World(program, case), dict[Firing, int]()
    for stratum in range(program.strata):
        waiting = [a for a in program.alternatives if a.stratum == stratum]
        while waiting:
            grew = False
            for a in waiting:
                for firing, bound, mask in list(matches(a, world)):
                    fired[firing] = fired.get(firing, 0) | mask
                    for record in effects(a, bound, program):
                        grew |= world.add(record, mask)
            waiting = [a for a in waiting if grew and any(p.kind in MADE_KINDS for p in a.records)]
    made = {r: mask for shelf in world.made.values() for r, mask in shelf.items()}
    return {
        s: Fixpoint(
            tuple(f for f, mask in fired.items() if mask & BIT[s]),
            frozenset(r for r, mask in made.items() if mask & BIT[s]),
        )
        for s in STANDINGS
    }


@dataclass(slots=True)
class Expected:
    """A match the check found: the passes in which it must have fired, and what it makes."""

    mask: int
    makes: tuple[Record, ...]
    chained: bool
    founded: int = 0


def certify(program: Program, case: Case, passes: Mapping[str, Fixpoint]) -> None:
    """Raise InferenceFault unless the passes are exactly the fixpoints of the program over the case."""
    reported = _masks({s: f.firings for s, f in passes.items()})
    made = _masks({s: f.made for s, f in passes.items()})
    world = World(program, case, finished=True)
    for record, mask in made.items():
        world.add(record, mask)
    expected = _expected(program, world)
    for firing, match in expected.items():
        _agree(match.mask & ~reported.get(firing, 0), "a rule has a match that did not fire", firing)
    for firing, mask in reported.items():
        wanted = expected[firing].mask if firing in expected else 0
        _agree(mask & ~wanted, "a rule fired without a match", firing)
    founded = _found(expected, world)
    for firing, match in expected.items():
        _agree(match.mask & ~match.founded, "a rule fired without what it rests on", firing)
    for record, _ in sorted(founded.items() ^ made.items()):
        text = f"the record `{_shown(record)}` has no firing, or a firing not its record"
        _agree(founded.get(record, 0) ^ made.get(record, 0), text, _maker(record, expected))


def _masks(found: Mapping[str, Iterable[T]]) -> dict[T, int]:
    masks: dict[T, int] = {}
    for standing, items in found.items():
        bit = BIT[standing]
        for item in items:
            masks[item] = masks.get(item, 0) | bit
    return masks


def _expected(program: Program, world: World) -> dict[Firing, Expected]:
    found: dict[Firing, Expected] = {}
    for a in program.alternatives:
        for firing, bound, mask in matches(a, world):
            chained = any(r.kind in MADE_KINDS for r in firing.records)
            found[firing] = Expected(mask, tuple(effects(a, bound, program)), chained)
    return found


def _found(expected: Mapping[Firing, Expected], world: World) -> dict[Record, int]:
    """What the case founds, through every chain: a ring that only supports itself is never reached."""
    records: dict[Record, int] = {}
    waiting = expected
    while waiting:
        grew = False
        for firing, match in waiting.items():
            mask = match.mask
            for record in firing.records if match.chained else ():
                if record.kind in MADE_KINDS:
                    mask &= records.get(record, 0) | _given(record, world)
            if mask != match.founded:
                match.founded, grew = mask, True
                for record in match.makes:
                    records[record] = records.get(record, 0) | mask
        waiting = {f: m for f, m in waiting.items() if grew and m.chained and m.founded != m.mask}
    return records


def _given(record: Record, world: World) -> int:
    """A fitted system may come from the case rather than from a rule."""
    if record.kind != "fitted":
        return 0
    return world.passes(YES, world.case.state(("fitted", record.subject)), "fitted")


def _maker(record: Record, expected: Mapping[Firing, Expected]) -> Firing:
    return next((f for f, match in expected.items() if record in match.makes), Firing("", (record,)))


def _shown(record: Record) -> str:
    return " ".join(word for word in record if word)


def _agree(differing: int, text: str, firing: Firing) -> None:
    """InferenceFault for the first pass in which the engines differ."""
    if not differing:
        return
    standing = next(s for s in STANDINGS if differing & BIT[s])
    rule = firing.alternative.partition("#")[0]
    match = ", ".join(map(_shown, firing.records)) or "no records"
    named = f" (rule {rule}, match: {match})" if rule else f" ({match})"
    raise InferenceFault(f"the two engines disagree in the {standing} pass: {text}{named}", rule, match)
