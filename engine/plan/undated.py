"""Work on the parts list that would undo a finished line, where the log does not say when it was done."""

from __future__ import annotations

from collections.abc import Iterator

from ..explain.facts import Evidence
from ..measure.standing import voids
from ..model.case import Entry, Slot
from ..model.catalogue import Event


def undated(evidence: Evidence, line: tuple[str, str]) -> Iterator[tuple[Slot, Event]]:
    """The slots of such work, with the event that would say when."""
    case, program = evidence.case, evidence.program
    operation = program.operations[line[0]]
    logged = {(e.event, e.part or program.events[e.event].part) for e in case.log if e.event}
    for slot, state in case.slots.items():
        if slot[0] != "touched" or state.said_by.startswith("log "):
            continue
        done = state.known or frozenset()
        for event in program.events.values():
            if event.part not in ("", slot[1]) or (event.id, slot[1]) in logged:
                continue
            if event.scope != "part" and not event.part:
                continue
            if event.action in done or (event.action == "ri" and "rr" in done):  # replacing takes it off too
                named = slot[1] if event.scope == "part" else ""
                entry = Entry(at="", event=event.id, part=named, place=slot[2])
                if voids(entry, operation, line[1], program):
                    yield slot, event
