"""Why a line is not there: the nearest rules, which conditions fail, and the smallest change that brings it in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations, product

from ..infer.check import World
from ..infer.lines import Dropped, find_lines
from ..infer.run import infer
from ..load.slots import with_answers
from ..measure.standing import settle
from ..model.case import NOTHING, Entry, Slot
from ..model.catalogue import Test, Value
from ..model.outcome import POSSIBLE, PROVISIONAL
from ..model.places import expand
from ..model.rule import Alternative, Pattern, Rule
from .facts import Evidence

NEAREST = 5
MOST_CHANGES = 3
TRIALS = 60
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
    misses = sorted(_misses(evidence, operation), key=lambda m: (len(m.fails) + len(m.blocked), m.rule.id))
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
        changes=tuple(smallest_changes(evidence, operation, place, misses[: NEAREST * 3])),
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


def _misses(evidence: Evidence, operation: str) -> Iterator[Miss]:
    for a in makers(evidence, "planned", operation):
        fails, blocked = failing(evidence, a)
        if fails or blocked:
            yield Miss(a.rule, fails, blocked)


def failing(evidence: Evidence, a: Alternative) -> tuple[tuple[Pattern, ...], tuple[Pattern, ...]]:
    """The conditions of an alternative that fail in the cautious reading, and the `unless` that blocks it."""
    world = World(evidence.program, evidence.case, PROVISIONAL)
    for record in evidence.outcome[PROVISIONAL].made:
        world.add(record)
    fails = tuple(p for p in (*a.ground, *a.records) if not world.holds(p))
    blocked = tuple(g[0] for g in a.unless if all(world.holds(p) for p in g))
    return fails, blocked


def _overridden(evidence: Evidence, operation: str) -> Iterator[tuple[str, Rule]]:
    """Rules of higher packs that took the place of a rule; whether it planned this is not kept, so all are named."""
    for id_, rule in sorted(evidence.program.overridden.items()):
        if rule.withdraws or all(operation not in e.subjects for e in rule.then):
            yield id_, rule


def smallest_changes(evidence: Evidence, operation: str, place: str, misses: list[Miss]) -> list[Change]:
    """Minimal sets of answers that would bring the line in; each was run, and no part of it suffices."""
    wanted = {(operation, p) for p in expand(place, evidence.program.operations[operation].per)}
    kept: list[Change] = []
    for change in _candidates(evidence, operation, misses)[:TRIALS]:
        if len(kept) >= MOST_KEPT or any(k.items() <= change.items() for k in kept):
            continue
        if _brings(evidence, change, wanted) and not any(
            _brings(evidence, dict(part), wanted)
            for size in range(1, len(change))
            for part in combinations(sorted(change.items()), size)
        ):
            kept.append(change)
    return kept


def _candidates(evidence: Evidence, operation: str, misses: list[Miss]) -> list[Change]:
    """Changes worth trying: the smallest first, and each rule's first way before any rule's second."""
    ranked: list[tuple[int, int, int, Change]] = []
    for rank, miss in enumerate(misses):
        options = [_ways(evidence, p, 0) for p in miss.fails]
        if miss.blocked or not options or not all(options):
            continue
        for nth, choice in enumerate(list(product(*options))[:8]):
            change: Change = {}
            for part in choice:
                change |= part
            if len(change) <= MOST_CHANGES:
                ranked.append((nth, len(change), rank, change))
    ordered = [change for *_, change in sorted(ranked, key=lambda r: r[:3])]
    systems = evidence.program.operations[operation].systems
    if systems and all(evidence.case.state(("fitted", s)).known == frozenset(("no",)) for s in systems):
        first: Change = {("fitted", systems[0]): frozenset(("yes",))}
        ordered = [first, *({**change, **first} for change in ordered)]
    return ordered


def _brings(evidence: Evidence, change: Change, wanted: set[tuple[str, str]]) -> bool:
    answers = {slot: values for slot, values in change.items() if slot[0] != "result"}
    case = with_answers(evidence.case, evidence.program, answers)
    done = [Entry(LATEST, s[1], s[2], str(*values)) for s, values in change.items() if s[0] == "result"]
    case = settle(replace(case, log=(*case.log, *done)), evidence.program)
    lines = find_lines(evidence.program, case, infer(evidence.program, case)).lines
    return any(k in lines and lines[k].standing != POSSIBLE for k in wanted)


def _ways(evidence: Evidence, pattern: Pattern, depth: int) -> list[Change]:
    """Single answers that would make a failing pattern hold; through derived facts at most two rules deep."""
    test = pattern.test or Test("some")
    if pattern.kind == "fact":
        return _fact_ways(evidence, pattern.subjects[0], test)
    if pattern.kind in ("fitted", "code"):
        return [{(pattern.kind, s): frozenset[Value](("yes",))} for s in pattern.subjects]
    if pattern.kind == "method":
        return [{("method", pattern.subjects[0]): frozenset((test.values[0],))}]
    if pattern.kind == "procedure" and pattern.subjects:
        return [{("procedure", pattern.subjects[0]): frozenset((test.values[0],))}]
    if pattern.kind in ("touched", "damaged"):
        return _part_ways(evidence, pattern, test)
    if pattern.kind == "result" and pattern.subjects:
        return [{("result", o, ""): frozenset((test.values[0],))} for o in pattern.subjects]
    if pattern.kind in ("derived", "severity") and depth < 2:
        found: list[Change] = []
        for a in makers(evidence, pattern.kind, pattern.subjects[0]):
            fails, blocked = failing(evidence, a)
            options = [_ways(evidence, p, depth + 1) for p in fails]
            if not blocked and len(fails) <= 2 and options and all(options):
                merged: Change = {}
                for o in options:
                    merged |= o[0]
                found.append(merged)
        return found[:6]
    return []


def _fact_ways(evidence: Evidence, fact: str, test: Test) -> list[Change]:
    spec, state = evidence.program.facts[fact], evidence.case.state(("fact", fact))
    slot: Slot = ("fact", fact)
    if test.op == "any_of":
        before = state.known or NOTHING if spec.type == "set" else NOTHING
        return [{slot: before | {v}} for v in test.values[:3]]
    if test.op == "none_of":
        return [{slot: frozenset((v,))} for v in spec.values if v not in test.values][:2]
    if test.op == "some":
        return [{slot: frozenset((v,))} for v in list(spec.values)[:1] if v != "*"]
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
        if pattern.relation and pattern.systems and not getattr(part, pattern.relation) & frozenset(pattern.systems):
            continue
        slot = (pattern.kind, id_, part.places[-1])
        before = evidence.case.state(slot).known or NOTHING
        value = "rr" if "rr" in test.values else test.values[0]
        united = before | {value} if pattern.kind == "touched" else frozenset((value,))
        found.append({slot: united})
    return found[:3]


