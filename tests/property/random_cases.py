"""Random cases over any program, what each slot may hold, and random ways to fill in what is not known."""

from __future__ import annotations

import random

from knockon.engine.model.answers import ACTIONS, DAMAGE, DATE_FACT, METHODS, OUTCOMES, VERDICTS
from knockon.engine.model.case import NOTHING, Case, Entry, Slot, State
from knockon.engine.model.catalogue import Value
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace

FIXED = {"fitted": ("yes", "no"), "code": ("yes", "no"), "method": METHODS}


def answer(program: Program, slot: Slot, rng: random.Random) -> frozenset[Value]:
    """One answer the vocabulary allows for a slot.

    A procedure that nobody looked up never turns out `not_required` here: the possible reading does not count
    on it either, as the line's own strength already says that the procedure decides.
    """
    kind = slot[0]
    if kind == "fact":
        return _fact(program, slot[1], rng)
    if kind == "touched":
        return frozenset(a for a in ACTIONS if rng.random() < 0.3)
    if kind == "damaged":
        return frozenset((rng.choice(DAMAGE[1:]),)) if rng.random() < 0.6 else NOTHING
    if kind == "procedure":
        verdict = rng.choice(("", *(v for v in VERDICTS if v != "not_required")))
        return frozenset((verdict,)) if verdict else NOTHING
    return frozenset((rng.choice(FIXED[kind]),))


def _fact(program: Program, id_: str, rng: random.Random) -> frozenset[Value]:
    spec = program.facts[id_]
    if spec.type in ("number", "date"):
        return frozenset((rng.choice(_bounds(program, id_)),))
    values = tuple(program.systems) if "*" in spec.values else tuple(spec.values)
    if spec.type == "set":
        return frozenset(v for v in values if rng.random() < 0.4)
    return frozenset((rng.choice(values),))


def _bounds(program: Program, id_: str) -> tuple[float, ...]:
    """Numbers at, below and above every bound some rule sets for a fact."""
    found = {
        float(v)
        for a in program.alternatives
        for p in (*a.ground, *(p for g in a.unless for p in g))
        if p.kind == "fact" and p.subjects == (id_,) and p.test
        for v in p.test.values
    }
    return tuple(sorted({n + step for n in found for step in (-1.0, 0.0, 1.0)} or {0.0}))


def slots_of(program: Program) -> list[Slot]:
    """Every slot of a vocabulary that can be unknown."""
    found: list[Slot] = [("fact", f) for f in program.facts]
    found += [(kind, s) for kind in FIXED for s in program.systems]
    found += [("procedure", o) for o in program.operations]
    found += [
        (kind, p.id, w) for p in program.parts.values() for w in p.places for kind in ("touched", "damaged")
    ]
    return found


def unknown(program: Program, slot: Slot, rng: random.Random) -> State:
    """A slot nobody answered, with an assumption: any answer, or none."""
    if slot[0] == "fitted":
        return State(None, frozenset(("yes",)))
    return State(None, answer(program, slot, rng) if rng.random() < 0.6 else NOTHING)


def random_case(program: Program, seed: int) -> Case:
    """A case of a random program: from nothing known to everything known."""
    rng = random.Random(f"case {seed}")
    share = rng.choice((0.0, 0.3, 0.7, 0.9, 1.0))
    slots: dict[Slot, State] = {}
    for slot in slots_of(program):
        if rng.random() < 0.25:
            continue
        if rng.random() < share:
            slots[slot] = State(_known(program, slot, rng))
        else:
            slots[slot] = unknown(program, slot, rng)
    standing = {}
    for operation in program.operations.values():
        if rng.random() < 0.3:
            place = rng.choice(("", "left", "front_left", "rear"))
            outcome = rng.choice(OUTCOMES)
            standing[operation.id, place] = Entry("2026-01-01", operation.id, place, outcome)
            slots["result", operation.id, place] = State(frozenset((outcome,)))
    return Case(f"random {seed}", "2026-01-01", {}, slots, {}, tuple(standing.values()), standing, ())


def _known(program: Program, slot: Slot, rng: random.Random) -> frozenset[Value]:
    """A known answer, which for a procedure may be any verdict."""
    if slot[0] == "procedure" and rng.random() < 0.4:
        return frozenset(("not_required",))
    return answer(program, slot, rng)


def completed(program: Program, case: Case, rng: random.Random) -> Case:
    """The case after every open question got some answer."""
    slots = {
        slot: state if state.known is not None else State(answer(program, slot, rng))
        for slot, state in case.slots.items()
    }
    return replace(case, slots=slots)


def opened(program: Program, case: Case, rng: random.Random, share: float) -> Case:
    """The case with part of its answers taken back, each for some assumption; results and date stay."""
    slots = {
        slot: unknown(program, slot, rng)
        if slot[0] != "result" and slot != ("fact", DATE_FACT) and rng.random() < share
        else state
        for slot, state in case.slots.items()
    }
    return replace(case, slots=slots)
