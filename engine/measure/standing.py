"""What still stands: results from the log, and the later events that took some of them away."""

from __future__ import annotations

from contextlib import suppress

from ..load.log import in_time_order
from ..model.case import NOTHING, Case, Entry, Slot, State, Undone
from ..model.catalogue import Operation
from ..model.places import expand, meets
from ..model.program import Program
from ..model.record import replace
from .figures import ReadingError
from .log_readings import assess_entry

ANY_EVENT = "ev_any_disturb"
SEAT_FAULT: Slot = ("fact", "seat_fault")


def settle(case: Case, program: Program) -> Case:
    """The case with standing results as facts, undone results kept, and what events answer said."""
    standing: dict[tuple[str, str], Entry] = {}
    undone: list[Undone] = []
    shapes: list[tuple[str, Entry]] = []
    log = in_time_order(case.log)
    for entry in log:
        if entry.did:
            operation = program.operations[entry.did]
            judged = assess_entry(entry, case, program)
            outcome = judged.outcome
            if judged.shape:
                shapes.append((judged.shape, entry))
            for place in expand(entry.place, operation.per):
                if outcome:
                    standing[entry.did, place] = replace(entry, result=outcome, place=place)
                elif entry.readings:  # measured again and not settled: what was settled before is in doubt
                    standing.pop((entry.did, place), None)
        elif entry.event:
            for key in [k for k in standing if voids(entry, program.operations[k[0]], k[1], program)]:
                undone.append(Undone(standing.pop(key), entry))
    slots = dict(case.slots)
    for (operation_id, place), result in standing.items():
        slots["result", operation_id, place] = State(
            frozenset((result.result,)), NOTHING, result.span, f"log {result.at[:10]}"
        )
    _seat_fault(shapes, standing, slots)
    redone = {(u.result.did, u.result.place) for u in undone if (u.result.did, u.result.place) in standing}
    for entry in log:
        _codes_found(entry, program, slots)
        if entry.event:
            waiting = any(u.by == entry and (u.result.did, u.result.place) not in redone for u in undone)
            _answer(entry, waiting, program, slots)
    return replace(case, slots=slots, standing=standing, undone=tuple(undone))


def _seat_fault(
    shapes: list[tuple[str, Entry]], standing: dict[tuple[str, str], Entry], slots: dict[Slot, State]
) -> None:
    """How the seat is off by the last failed check that still stands: what was measured outranks what was said."""
    still = {result.span for result in standing.values()}
    for shape, entry in shapes:
        if entry.span in still and SEAT_FAULT in slots:
            slots[SEAT_FAULT] = State(frozenset((shape,)), NOTHING, entry.span, f"log {entry.at[:10]}")


def voids(entry: Entry, operation: Operation, place: str, program: Program) -> bool:
    """Whether an event takes away a result: by the operation's list, by system, and by place."""
    if entry.event not in operation.void_by and ANY_EVENT not in operation.void_by:
        return False
    if place and not any(meets(where, place) for where in _places(entry, program)):
        return False
    if not operation.systems or ANY_EVENT in operation.void_by:
        return True
    if entry.system:
        return entry.system in operation.systems
    if entry.part:
        part = program.parts[entry.part]
        return not (part.carries | part.covers).isdisjoint(operation.systems)
    return True


def _places(entry: Entry, program: Program) -> list[str]:
    """Where an event was: as said, and no wider than the part it names."""
    if not entry.part:
        return [entry.place]
    return [p for p in program.parts[entry.part].places if meets(p, entry.place)]


def _codes_found(entry: Entry, program: Program, slots: dict[Slot, State]) -> None:
    """Codes that a later scan found; a clean scan takes none back: a code cleared is not explained."""
    if not entry.readings:
        return
    from .code_status import present
    from .taken import codes_of

    with suppress(ReadingError):  # the message for it is given when the case is read
        for _, status, system in codes_of(entry):
            if system in program.systems and present(status):
                yes = State(frozenset(("yes",)), NOTHING, entry.span, f"log {entry.at[:10]}")
                slots["code", system] = yes


def _answer(entry: Entry, waiting: bool, program: Program, slots: dict[Slot, State]) -> None:
    """What an event says about the case: facts, and work on the part it names."""
    event, by = program.events[entry.event], f"log {entry.at[:10]}"
    for fact, value in event.answers.items():
        if not event.while_undone or waiting:
            slots["fact", fact] = State(frozenset((value,)), NOTHING, entry.span, by)
    part_id = entry.part or event.part
    if event.action and part_id:
        for place in program.parts[part_id].places:
            if not entry.place or meets(entry.place, place):
                slot = ("touched", part_id, place)
                before = slots[slot].known or NOTHING if slot in slots else NOTHING
                slots[slot] = State(before | {event.action}, NOTHING, entry.span, by)
