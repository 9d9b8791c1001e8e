"""Why a line is not there: the nearest rules, what they lack, and the smallest change that brings it in."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, islice, product

from ..infer.check import World
from ..infer.lacking import failing, settled
from ..infer.lines import Dropped, find_lines
from ..infer.run import infer
from ..load.slots import holds, with_answers
from ..measure.standing import settle
from ..model.case import NOTHING, Answers, Entry, Slot
from ..model.catalogue import Test, Value
from ..model.outcome import POSSIBLE, PROVISIONAL
from ..model.places import expand
from ..model.program import Program
from ..model.record import dataclass, field, replace
from ..model.rule import Alternative, Pattern, Rule
from .facts import Evidence

NEAREST = 5
MOST_CHANGES = 3
TRIALS = 60  # runs of the whole case at most: on an ordinary case a second or two
MOST_KEPT = 4
LATEST = "9999-12-31"
Change = dict[Slot, frozenset[Value]]


@dataclass(frozen=True, slots=True)
class Miss:
    """An alternative that could have planned the line, and the conditions that fail."""

    rule: Rule
    fails: tuple[Pattern, ...]
    blocked: tuple[Pattern, ...]


@dataclass(frozen=True, slots=True)
class WhyNot:
    """The whole answer. `on_plan` when the line is there after all; `changes` are minimal and were run."""

    operation: str
    place: str
    on_plan: bool
    possible: bool
    dropped: Dropped | None
    not_fitted: tuple[str, ...]
    overridden: tuple[tuple[str, Rule], ...]
    misses: tuple[Miss, ...]
    changes: tuple[Change, ...]


def why_not(evidence: Evidence, operation: str, place: str = "") -> WhyNot:
    """Explain an operation's absence in the cautious reading."""
    program = evidence.program
    places = expand(place, program.operations[operation].per)
    keys = [(operation, p) for p in places]
    here = [evidence.found.lines[k] for k in keys if k in evidence.found.lines]
    world = settled(program, evidence.case, evidence.outcome)
    misses = sorted(
        _misses(evidence, world, operation), key=lambda m: (len(m.fails) + len(m.blocked), m.rule.id)
    )
    systems = program.operations[operation].systems
    gone = tuple(s for s in systems if evidence.case.state(("fitted", s)).known == frozenset(("no",)))
    return WhyNot(
        operation,
        place,
        on_plan=any(line.standing != POSSIBLE for line in here),
        possible=any(line.standing == POSSIBLE for line in here),
        dropped=next((evidence.found.dropped[k] for k in keys if k in evidence.found.dropped), None),
        not_fitted=gone if len(gone) == len(systems) else (),
        overridden=tuple(_overridden(evidence, operation)),
        misses=tuple(misses[:NEAREST]),
        changes=tuple(Search(evidence, world, operation, place).smallest(misses[: NEAREST * 3])),
    )


def makers(evidence: Evidence, kind: str, subject: str) -> list[Alternative]:
    """The alternatives that can make a record of this kind and subject."""
    verb = {"planned": "plan", "derived": "conclude"}.get(kind, kind)
    return [
        a
        for a in evidence.program.alternatives
        if any(e.verb == verb and _makes(e.subjects, subject, kind) for e in a.effects)
    ]


def _makes(subjects: tuple[str, ...], wanted: str, kind: str) -> bool:
    if kind == "severity":
        return any(int(s) >= int(wanted) for s in subjects)
    return wanted in subjects


def _misses(evidence: Evidence, world: World, operation: str) -> Iterator[Miss]:
    for a in makers(evidence, "planned", operation):
        fails, blocked = failing(a, world, PROVISIONAL)
        if fails or blocked:
            yield Miss(a.rule, fails, tuple(group[0] for group in blocked))


def _overridden(evidence: Evidence, operation: str) -> Iterator[tuple[str, Rule]]:
    """Rules of higher packs that took the place of one; what that one planned is not kept: all are named."""
    for id_, rule in sorted(evidence.program.overridden.items()):
        if rule.withdraws or all(operation not in e.subjects for e in rule.then):
            yield id_, rule


@dataclass(slots=True)
class Search:
    """Looks for the smallest sets of answers that bring a line in; each one kept was run, with its parts."""

    evidence: Evidence
    world: World
    operation: str
    place: str
    tried: dict[frozenset[tuple[Slot, frozenset[Value]]], bool] = field(default_factory=dict)

    def smallest(self, misses: list[Miss]) -> list[Change]:
        """At most a few changes, none of which contains another."""
        kept: list[Change] = []
        for change in self._candidates(misses):
            if len(kept) >= MOST_KEPT or len(self.tried) >= TRIALS:
                break
            if any(k.items() <= change.items() for k in kept) or not self.brings(change):
                continue
            parts = (
                dict(p) for size in range(1, len(change)) for p in combinations(sorted(change.items()), size)
            )
            least = next((part for part in parts if self.brings(part)), change)
            kept = [k for k in kept if not least.items() <= k.items()] + [least]
        return kept

    def brings(self, change: Change) -> bool:
        """Whether the line is on the plan with these answers; never when answers exclude each other."""
        key = frozenset(change.items())
        if key not in self.tried:
            self.tried[key] = self._brings(change)
        return self.tried[key]

    def _brings(self, change: Change) -> bool:
        program = self.evidence.program
        answers = {slot: values for slot, values in change.items() if slot[0] != "result"}
        case = with_answers(self.evidence.case, program, answers)
        if _excluded(case.answers, program):
            return False
        done = [Entry(LATEST, s[1], s[2], str(*values)) for s, values in change.items() if s[0] == "result"]
        case = settle(replace(case, log=(*case.log, *done)), program)
        lines = find_lines(program, case, infer(program, case, alone=True)).lines
        wanted = [(self.operation, p) for p in expand(self.place, program.operations[self.operation].per)]
        return any(k in lines and lines[k].standing != POSSIBLE for k in wanted)

    def _candidates(self, misses: list[Miss]) -> list[Change]:
        """Changes worth trying: the smallest first, and each rule's first way before any rule's second."""
        ranked: list[tuple[int, int, int, Change]] = []
        for rank, miss in enumerate(misses):
            options = [self._ways(p, 0) for p in miss.fails]
            if miss.blocked or not options or not all(options):
                continue
            for nth, choice in enumerate(islice(product(*options), 8)):
                change: Change = {}
                for part in choice:
                    change |= part
                if len(change) <= MOST_CHANGES:
                    ranked.append((nth, len(change), rank, change))
        ordered = [change for *_, change in sorted(ranked, key=lambda r: r[:3])]
        systems = self.evidence.program.operations[self.operation].systems
        if systems and all(self._not_fitted(s) for s in systems):
            first: Change = {("fitted", systems[0]): frozenset(("yes",))}
            ordered = [first, *({**change, **first} for change in ordered)]
        return ordered

    def _not_fitted(self, system: str) -> bool:
        return self.evidence.case.state(("fitted", system)).known == frozenset(("no",))

    def _ways(self, pattern: Pattern, depth: int) -> list[Change]:
        """Answers that would make a failing pattern hold; through derived facts at most two rules deep."""
        test = pattern.test or Test("some")
        if pattern.kind == "fact":
            return _fact_ways(self.evidence, pattern.subjects[0], test)
        if pattern.kind in ("fitted", "code"):
            return [{(pattern.kind, s): frozenset(("yes",))} for s in pattern.subjects]
        if pattern.kind in ("method", "procedure") and pattern.subjects:
            return [{(pattern.kind, pattern.subjects[0]): frozenset((test.values[0],))}]
        if pattern.kind in ("touched", "damaged"):
            return _part_ways(self.evidence, pattern, test)
        if pattern.kind == "result" and pattern.subjects:
            return [{("result", o, ""): frozenset((test.values[0],))} for o in pattern.subjects]
        if pattern.kind in ("derived", "severity") and depth < 2:
            return self._concluded(pattern, depth)
        return []

    def _concluded(self, pattern: Pattern, depth: int) -> list[Change]:
        found: list[Change] = []
        for a in makers(self.evidence, pattern.kind, pattern.subjects[0]):
            fails, blocked = failing(a, self.world, PROVISIONAL)
            options = [self._ways(p, depth + 1) for p in fails]
            if not blocked and len(fails) <= 2 and options and all(options):
                merged: Change = {}
                for o in options:
                    merged |= o[0]
                found.append(merged)
        return found[:6]


def _excluded(answers: Answers, program: Program) -> bool:
    """Whether given answers exclude each other."""
    said = {slot: state.known for slot, state in answers.said.items() if state.known is not None}
    return any(
        all((kind, id_) in said and holds(test, said[kind, id_]) for kind, id_, test in item.tests)
        for item in program.impossible
    )


def _fact_ways(evidence: Evidence, fact: str, test: Test) -> list[Change]:
    spec, state = evidence.program.facts[fact], evidence.case.state(("fact", fact))
    slot: Slot = ("fact", fact)
    if test.op == "any_of":
        before = state.known or NOTHING if spec.type == "set" else NOTHING
        return [{slot: before | {v}} for v in test.values[:3]]
    if test.op == "none_of":
        return [{slot: frozenset[Value]((v,))} for v in spec.values if v not in test.values][:2]
    if test.op == "some":
        return [{slot: frozenset[Value]((v,))} for v in list(spec.values)[:1] if v != "*"]
    if test.op == "at_least":
        return [{slot: frozenset((test.values[0],))}]
    if test.op == "below":
        return [{slot: frozenset((float(test.values[0]) - 1,))}]
    return []


def _part_ways(evidence: Evidence, pattern: Pattern, test: Test) -> list[Change]:
    found: list[Change] = []
    for id_, part in evidence.program.parts.items():
        if pattern.subjects and id_ not in pattern.subjects:
            continue
        related = getattr(part, pattern.relation) if pattern.relation else frozenset()
        if pattern.relation and pattern.systems and related.isdisjoint(pattern.systems):
            continue
        slot = (pattern.kind, id_, part.places[-1])
        before = evidence.case.state(slot).known or NOTHING
        value = "rr" if "rr" in test.values else test.values[0]
        united = before | {value} if pattern.kind == "touched" else frozenset((value,))
        found.append({slot: united})
    return found[:3]
