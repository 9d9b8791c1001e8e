"""From answers to slots: what is known, what is implied, and what to assume for the rest."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from ..model.case import NOTHING, Answers, Case, Slot, State
from ..model.catalogue import FactSpec, Test, Value
from ..model.program import Program
from ..model.record import replace
from ..model.rule import Pattern

LISTED = frozenset(("yes",))
NOT_LISTED = frozenset(("no",))
METHOD_ASSUMED: frozenset[Value] = frozenset(("both",))
PARTS_FINAL: Slot = ("fact", "parts_final")
SCAN_DONE: Slot = ("fact", "scan_pre_state")


def assemble(answers: Answers, program: Program) -> dict[Slot, State]:
    """Every slot of the vocabulary: the answer, what answers imply, or unknown with what is assumed."""
    _imply(answers, program)
    slots: dict[Slot, State] = {}
    for spec in program.facts.values():
        _fact(spec, answers, program, slots)
    _systems(answers, program, slots)
    _parts(answers, program, slots)
    return slots


def with_answers(case: Case, program: Program, more: Mapping[Slot, frozenset[Value]]) -> Case:
    """The case as it would be with these answers too; assumptions that depend on them are taken anew."""
    answers = case.answers.copy()
    for slot, values in more.items():
        answers.say(slot, values)
    return replace(case, slots=assemble(answers, program), standing={}, undone=(), answers=answers)


def _imply(answers: Answers, program: Program) -> None:
    """Answers that follow from others, until nothing changes; an answer that was given always stands."""
    changed = True
    while changed:
        changed = False
        for rule in program.implied:
            if rule.slot in answers.said or not all(_said(answers, k, s, t) for k, s, t in rule.tests):
                continue
            first = rule.tests[0]
            origin = answers.said[(first[0], first[1])]
            answers.said[rule.slot] = State(rule.values, NOTHING, origin.span, f"follows: {rule.title}")
            changed = True


def _said(answers: Answers, kind: str, subject: str, test: Test) -> bool:
    state = answers.said.get((kind, subject))
    return state is not None and state.known is not None and holds(test, state.known)


def holds(test: Test, values: frozenset[Value]) -> bool:
    """Whether a test holds of a set of known values."""
    if test.op == "any_of":
        return not values.isdisjoint(test.values)
    if test.op == "none_of":
        return values.isdisjoint(test.values)
    if test.op == "some":
        return bool(values)
    numbers = [v for v in values if isinstance(v, int | float)]
    bound = test.values[0] if test.values else 0
    if test.op == "at_least":
        return any(v >= bound for v in numbers)  # type: ignore[operator]
    if test.op == "below":
        return any(v < bound for v in numbers)  # type: ignore[operator]
    return False


def _fact(spec: FactSpec, answers: Answers, program: Program, slots: dict[Slot, State]) -> State:
    """The state of a fact; assumptions that depend on other facts pull those in first."""
    slot = ("fact", spec.id)
    if slot in slots:
        return slots[slot]
    said = answers.said.get(slot)
    if said is not None and said.known is not None:
        slots[slot] = said
    elif answers.rest_clear and said is None:
        slots[slot] = State(frozenset(spec.clear))
    else:
        assumed = _assume(spec, answers, program, slots)
        origin = said or State(None)
        slots[slot] = State(None, assumed, origin.span, origin.said_by)
    return slots[slot]


def _assume(spec: FactSpec, answers: Answers, program: Program, slots: dict[Slot, State]) -> frozenset[Value]:
    united: set[Value] = set()
    for assumption in spec.assume:
        tests = [
            holds(test, _fact(program.facts[fact], answers, program, slots).value)
            for fact, test in assumption.when
        ]
        if all(tests):
            if not assumption.add:
                return frozenset(assumption.values) | united
            united |= set(assumption.values)
    return frozenset(united)


def _systems(answers: Answers, program: Program, slots: dict[Slot, State]) -> None:
    clear = answers.rest_clear
    scanned = _answered(slots, SCAN_DONE, "done")
    for system in program.systems.values():
        slot = ("fitted", system.id)
        if slot in answers.said:
            slots[slot] = answers.said[slot]
        elif system.universal:
            slots[slot] = State(LISTED, said_by="every road vehicle has it")
        elif clear or answers.none_other_fitted:
            slots[slot] = State(NOT_LISTED)
        else:
            slots[slot] = State(None, LISTED)
        slot = ("code", system.id)
        if slot in answers.said:
            slots[slot] = answers.said[slot]
        elif not (clear or scanned):
            slots[slot] = State(None, NOT_LISTED)
    for system_id in asked_methods(program):
        slot = ("method", system_id)
        slots[slot] = answers.said.get(slot) or State(None, METHOD_ASSUMED)
    for operation in program.operations:
        slot = ("procedure", operation)
        slots[slot] = answers.said.get(slot) or (State(NOTHING) if clear else State(None))


def _answered(slots: Mapping[Slot, State], slot: Slot, word: str) -> bool:
    return slot in slots and word in (slots[slot].known or NOTHING)


@lru_cache(maxsize=16)
def asked_methods(program: Program) -> tuple[str, ...]:
    """The systems whose calibration method some rule asks for."""
    return tuple(sorted({s for p in patterns(program) if p.kind == "method" for s in p.subjects}))


@lru_cache(maxsize=16)
def patterns(program: Program) -> tuple[Pattern, ...]:
    """Every pattern of every active alternative, once."""
    found: dict[Pattern, None] = {}
    for a in program.alternatives:
        found.update(dict.fromkeys((*a.ground, *a.records, *(p for g in a.unless for p in g))))
    return tuple(found)


def _parts(answers: Answers, program: Program, slots: dict[Slot, State]) -> None:
    """Parts nobody listed: known untouched once the list is complete, else unknown and assumed untouched."""
    complete = answers.rest_clear or _answered(slots, PARTS_FINAL, "yes")
    hit = slots[("fact", "zone")].value if ("fact", "zone") in slots else NOTHING
    for part in program.parts.values():
        for place in part.places:
            touched, damaged = ("touched", part.id, place), ("damaged", part.id, place)
            if touched in answers.said:
                slots[touched] = answers.said[touched]
            elif not complete:
                slots[touched] = State(None)
            if damaged in answers.said:
                slots[damaged] = answers.said[damaged]
            elif not complete:
                suspected = part.hidden and not hit.isdisjoint(part.zones)
                slots[damaged] = State(None, frozenset(("suspected",)) if suspected else NOTHING)
