"""What the second evaluator is for: the fixpoint without the first engine, and the verdict on it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from ..diagnostics.message import InferenceFault
from ..model.case import Case
from ..model.catalogue import Test
from ..model.outcome import ALL, BIT, STANDINGS, Firing, Fixpoint, Record
from ..model.program import Program
from ..model.record import dataclass, field
from ..model.rule import Alternative
from .check import World, effects, joined, passes_of
from .lookup import Bound, made_by

YES = Test("any_of", ("yes",))
Match = tuple[str, tuple[Record, ...]]  # equal to the Firing of the same words


def fixpoints(program: Program, case: Case) -> dict[str, Fixpoint]:
    """All three passes by plain iteration, stratum by stratum."""
    world, fired = World(program, case), dict[Match, int]()
    world.settle()
    for stratum in range(program.strata):
        waiting = world.lookup.stratum(program, stratum)
        grown, first = set[tuple[str, str]](), True
        while first or grown:
            before, grown = grown, set()
            for i, rests_on in waiting:
                new = first or not (rests_on.isdisjoint(before) and rests_on.isdisjoint(grown))
                if new and i in world.begun:
                    _fire(program.alternatives[i], world, fired, grown)
            first = False
    made = {r: mask for shelf in world.made.values() for r, mask in shelf.items()}
    return {
        s: Fixpoint(
            tuple([Firing(*f) for f, mask in fired.items() if mask & BIT[s]]),
            frozenset([r for r, mask in made.items() if mask & BIT[s]]),
        )
        for s in STANDINGS
    }


def _fire(a: Alternative, world: World, fired: dict[Match, int], grown: set[tuple[str, str]]) -> None:
    """Note every match of an alternative and what it makes; `grown`: the kinds and subjects of what is new."""
    body = world.lookup.body(a)
    for records, bound, mask in joined(body, world):
        match = a.id, records
        fired[match] = fired.get(match, 0) | mask
        for record in made_by(a, body, bound, world.program):
            if world.add(record, mask):
                grown |= {(record.kind, record.subject), (record.kind, "")}


@dataclass(slots=True)
class Expected:
    """What the check found over a finished world.

    `matches`: by the passes in which they must have fired. `founded`: what the case founds, through every chain, with
    the passes: a ring that only supports itself is never reached. `waiting`: matches that rest on made records which
    are not founded in all their passes (so far), each with its passes, these records, and what it makes.
    """

    world: World
    matches: list[list[Match]] = field(default_factory=lambda: [[] for _ in range(ALL + 1)])
    founded: dict[Record, int] = field(default_factory=dict)
    waiting: list[tuple[Match, int, list[Record], tuple[Record, ...]]] = field(default_factory=list)

    def find(self) -> None:
        """Find every match there is, then what they found."""
        world, founded, bodies = self.world, self.founded, self.world.lookup.bodies
        for a in [world.program.alternatives[i] for i in sorted(world.begun)]:
            body = bodies.get(id(a)) or world.lookup.body(a)
            found = joined(body, world)
            if not found:
                continue
            resting = body[3]
            ways: dict[Bound, int] = {}  # what it has bound, with the passes
            for records, bound, mask in found:
                match = a.id, records
                self.matches[mask].append(match)
                if resting:
                    made = made_by(a, body, bound, world.program)
                    self.waiting.append((match, mask, [records[i] for i in resting], made))
                else:
                    ways[bound] = ways.get(bound, 0) | mask
            for bound, mask in ways.items():
                for record in made_by(a, body, bound, world.program):
                    founded[record] = founded.get(record, 0) | mask
        while self.waiting and self._follow():
            pass

    def _follow(self) -> bool:
        """Follow every chain a step; False when that founded nothing more."""
        founded, grew, waiting = self.founded, False, []
        for match in self.waiting:
            _, mask, rests_on, made = match
            holds = self.holding(mask, rests_on)
            for record in made if holds else ():
                before = founded.get(record, 0)
                if before | holds != before:
                    founded[record], grew = before | holds, True
            if holds != mask:
                waiting.append(match)
        self.waiting = waiting
        return grew

    def holding(self, mask: int, rests_on: list[Record]) -> int:
        """Those of the passes in which all these records are founded."""
        for record in rests_on:
            held = self.founded.get(record, 0)
            if record.kind == "fitted":  # it may come from the case rather than from a rule
                state = self.world.case.state(("fitted", record.subject))
                held |= passes_of(YES, state, "fitted")
            mask &= held
        return mask


def certify(program: Program, case: Case, passes: Mapping[str, Fixpoint]) -> None:
    """Raise InferenceFault unless the passes are exactly the fixpoints of the program over the case."""
    world = World(program, case, finished=True)
    for standing, fixpoint in passes.items():
        for record in fixpoint.made:
            world.add(record, BIT[standing])
    world.settle()
    expected = Expected(world)
    expected.find()
    matched = [set(found) for found in expected.matches]
    for s in STANDINGS:
        fired = set(passes[s].firings)
        wanted = set[Match]().union(*[found for mask, found in enumerate(matched) if mask & BIT[s]])
        if fired != wanted:
            _refuse(s, "a rule has a match that did not fire", wanted - fired)
            _refuse(s, "a rule fired without a match", fired - wanted)
    for match, mask, rests_on, _ in expected.waiting:
        lacking = mask & ~expected.holding(mask, rests_on)
        standing = next(s for s in STANDINGS if lacking & BIT[s])
        _refuse(standing, "a rule fired without what it rests on", [match])
    for s in STANDINGS:
        founded = {record for record, mask in expected.founded.items() if mask & BIT[s]}
        for record in sorted(founded ^ passes[s].made):
            text = f"the record `{_shown(record)}` has no firing, or a firing not its record"
            _refuse(s, text, [next(_makers(record, world), ("", (record,)))])


def _makers(record: Record, world: World) -> Iterator[Match]:
    for a in world.program.alternatives:
        for records, bound, _ in joined(world.lookup.body(a), world):
            if record in effects(a, bound, world):
                yield a.id, records


def _shown(record: Record) -> str:
    return " ".join(word for word in record if word)


def _refuse(standing: str, text: str, matches: Collection[Match]) -> None:
    """InferenceFault for the first of some matches in which the engines differ."""
    if not matches:
        return
    alternative, records = min(matches)
    rule = alternative.partition("#")[0]
    match = ", ".join(map(_shown, records)) or "no records"
    named = f" (rule {rule}, match: {match})" if rule else f" ({match})"
    raise InferenceFault(f"the two engines disagree in the {standing} pass: {text}{named}", rule, match)
