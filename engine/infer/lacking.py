"""What an alternative lacks: the fewest conditions that would have to change for it to fire."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations

from ..model.case import Case
from ..model.outcome import ACROSS, BIT, Outcome, Record
from ..model.program import Program
from ..model.record import dataclass
from ..model.rule import Alternative, Pattern
from .check import World

UNMET, BLOCKED, APART = "unmet", "blocked", "apart"


@dataclass(frozen=True, slots=True)
class Lack:
    """One failing condition.

    `unmet`: nothing meets the pattern. `blocked`: every pattern of an `unless` group holds. `apart`: the
    pattern is met, but not by anything that carries the same names as the rule's other patterns.
    """

    kind: str
    patterns: tuple[Pattern, ...]


def settled(program: Program, case: Case, outcome: Outcome) -> World:
    """The finished world of a case, to be asked what holds in it in which pass."""
    world = World(program, case, finished=True)
    for standing, fixpoint in outcome.passes.items():
        for record in sorted(fixpoint.made):
            world.add(record, BIT[standing])
    return world


def lacking(a: Alternative, world: World, standing: str) -> tuple[Lack, ...]:
    """The fewest conditions that fail in a pass; () when the alternative has a match."""
    bit = BIT[standing]
    fails, blocked = failing(a, world, standing)
    met = [p for p in a.records if p not in fails]
    lacks = [Lack(UNMET, (p,)) for p in fails if p in a.ground] + [Lack(BLOCKED, g) for g in blocked]
    lacks += [Lack(UNMET, (p,)) for p in fails if p not in a.ground]
    lacks += [Lack(APART, (p,)) for p in _apart(_joined(met), world, bit)]
    return tuple(lacks)


def failing(
    a: Alternative, world: World, standing: str
) -> tuple[tuple[Pattern, ...], tuple[tuple[Pattern, ...], ...]]:
    """The conditions nothing meets in a pass, each by itself, and the `unless` groups that hold there."""
    bit = BIT[standing]
    fails = tuple(p for p in (*a.ground, *a.records) if not world.holds(p) & bit)
    return fails, tuple(g for g in a.unless if all(ACROSS[world.holds(p)] & bit for p in g))


def _names(pattern: Pattern) -> tuple[str, ...]:
    named = (pattern.variable, pattern.relation_variable, pattern.place)
    return tuple(name for name in named if name.startswith("$"))


def _joined(patterns: list[Pattern]) -> list[Pattern]:
    """Only those that share a name with another: the rest cannot fail to fit together."""
    count: dict[str, int] = {}
    for pattern in patterns:
        for name in set(_names(pattern)):
            count[name] = count.get(name, 0) + 1
    return [p for p in patterns if any(count[name] > 1 for name in _names(p))]


def _apart(patterns: list[Pattern], world: World, bit: int) -> tuple[Pattern, ...]:
    """The fewest patterns without which the others can be met together."""
    for size in range(len(patterns)):
        for left_out in combinations(reversed(patterns), size):
            kept = [p for p in patterns if not any(p is q for q in left_out)]
            if next(_together(kept, world, bit, {}), None) is not None:
                return left_out
    return ()


def _together(
    patterns: list[Pattern], world: World, bit: int, bound: Mapping[str, str]
) -> Iterator[Mapping[str, str]]:
    if not patterns:
        yield bound
        return
    seen: set[tuple[str, ...]] = set()
    for record, mask in world.records(patterns[0]):
        if not mask & bit:
            continue
        values = _values(patterns[0], record)
        key = tuple(values.values())
        if key not in seen and all(bound.get(name, value) == value for name, value in values.items()):
            seen.add(key)
            yield from _together(patterns[1:], world, bit, {**bound, **values})


def _values(pattern: Pattern, record: Record) -> dict[str, str]:
    pairs = (
        (pattern.variable, record.subject),
        (pattern.relation_variable, record.system),
        (pattern.place, record.place),
    )
    return {name: value for name, value in pairs if name.startswith("$")}
