"""What a drawing of the vehicle needs: where the force came from, zones hit, parts touched, sensors concerned."""

from __future__ import annotations

from ..explain.facts import Evidence
from ..model.case import NOTHING

NONE = frozenset(("none",))


def picture(evidence: Evidence) -> dict[str, object]:
    """Plain data, places as the vehicle's own: left and right seen facing forward."""
    case, program = evidence.case, evidence.program

    def said(fact: str) -> list[str]:
        state = case.slots.get(("fact", fact))
        return sorted(str(v) for v in (state.known or NOTHING)) if state is not None else []

    parts = []
    for slot, state in case.slots.items():
        if slot[0] in ("touched", "damaged") and state.known and state.known != NONE:
            part = program.parts[slot[1]]
            words = sorted(str(v) for v in state.known)
            parts.append(
                {"part": slot[1], "title": part.title, "place": slot[2], "kind": slot[0], "words": words}
            )
    systems = {
        s
        for operation in {k[0] for k, line in evidence.found.lines.items() if line.standing != "possible"}
        for s in _systems(evidence, operation)
    }
    return {
        "clock": said("force_clock"),
        "area": said("area"),
        "zones": said("zone"),
        "parts": parts,
        "sensors": [
            {"system": s, "title": program.systems[s].title, "area": program.systems[s].area}
            for s in sorted(systems)
        ],
    }


def _systems(evidence: Evidence, operation: str) -> list[str]:
    program = evidence.program
    return [
        s
        for s in program.operations[operation].systems
        if "yes" in (evidence.case.state(("fitted", s)).known or NOTHING)
    ]
