"""From answers to slots: what is known, what is implied, and what to assume for the rest."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import lru_cache

from ..model.case import NOTHING, Answers, Case, Slot, State
from ..model.catalogue import FactSpec, Test, Value
from ..model.program import Program
from ..model.record import replace
from ..model.rule import Pattern

LISTED: frozenset[Value] = frozenset(("yes",))
NOT_LISTED: frozenset[Value] = frozenset(("no",))
METHOD_ASSUMED: frozenset[Value] = frozenset(("both",))
PARTS_FINAL: Slot = ("fact", "parts_final")
SCAN_DONE: Slot = ("fact", "scan_pre_state")
UNKNOWN = State(None)
SUSPECTED = State(None, frozenset(("suspected",)))


def assemble(answers: Answers, program: Program) -> dict[Slot, State]:
    """Every slot of the vocabulary: the answer, what answers imply, or unknown with what is assumed."""
    _imply(answers, program)
    said, slots = answers.said, dict[Slot, State]()
    for spec in program.facts.values():
        _fact(spec, answers, program, slots)
    scanned = answers.rest_clear or _answered(slots, SCAN_DONE, "done")
    slots |= _unsaid(program, answers.rest_clear, answers.none_other_fitted)
    parts = _untouched(program)
    if answers.rest_clear or _answered(
        slots, PARTS_FINAL, "yes"
    ):  # the rest is known to be untouched: no slot
        slots |= {slot: said[slot] for slot in parts if slot in said}
    else:
        slots |= parts
        hit = slots[("fact", "zone")].value if ("fact", "zone") in slots else NOTHING
        slots |= {slot: SUSPECTED for slot, zones in _hidden(program) if not hit.isdisjoint(zones)}
    slots |= {slot: state for slot, state in said.items() if slot[0] != "fact" and slot in slots}
    for system in program.systems if scanned else ():
        if ("code", system) not in said:  # known to have none: no slot
            del slots["code", system]
    return slots


@lru_cache(maxsize=16)
def _unsaid(program: Program, clear: bool, none_other: bool) -> Mapping[Slot, State]:
    """The slots of systems and operations while nothing is said of them."""
    fitted = State(NOT_LISTED) if clear or none_other else State(None, LISTED)
    everywhere, code = State(LISTED, said_by="every road vehicle has it"), State(None, NOT_LISTED)
    slots: dict[Slot, State] = {}
    for system in program.systems.values():
        slots["fitted", system.id] = everywhere if system.universal else fitted
        slots["code", system.id] = code
    method, procedure = State(None, METHOD_ASSUMED), State(NOTHING) if clear else UNKNOWN
    slots.update((("method", system), method) for system in asked_methods(program))
    slots.update((("procedure", operation), procedure) for operation in program.operations)
    return slots


@lru_cache(maxsize=16)
def _untouched(program: Program) -> Mapping[Slot, State]:
    """The slots of parts that nobody listed: unknown, and assumed untouched."""
    kinds = ("touched", "damaged")
    return {
        (kind, p.id, place): UNKNOWN for p in program.parts.values() for place in p.places for kind in kinds
    }


@lru_cache(maxsize=16)
def _hidden(program: Program) -> Sequence[tuple[Slot, Collection[str]]]:
    """The damage of parts that nobody sees from outside, each with the zones of a blow that may have reached it."""
    hidden = [part for part in program.parts.values() if part.hidden]
    return [(("damaged", part.id, place), part.zones) for part in hidden for place in part.places]


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
            if rule.slot in answers.said or not all_said(answers, rule.tests):
                continue
            first = rule.tests[0]
            origin = answers.said[(first[0], first[1])]
            answers.said[rule.slot] = State(rule.values, NOTHING, origin.span, f"follows: {rule.title}")
            changed = True


def all_said(answers: Answers, tests: Iterable[tuple[str, str, Test]]) -> bool:
    """Whether every test, on a slot of a kind and a subject, holds of an answer that was given."""
    for kind, subject, test in tests:
        state = answers.said.get((kind, subject))
        if state is None or state.known is None or not holds(test, state.known):
            return False
    return True


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
