"""What the templates of plan, supplement and handover are filled with, the same for HTML and Markdown."""

from __future__ import annotations

from typing import Any

from ..model.handover import Handover
from ..model.plan import Plan
from ..model.program import Program
from ..model.supplement import KINDS, Supplement
from .drawing_vehicle import drawing_vehicle
from .handover import SAYS
from .sheet import Sheet, considered_sentence
from .supplement import HEADINGS, pack_change_words, state_words


def plan_values(plan: Plan, program: Program | None) -> dict[str, Any]:
    """For a plan; without the program, what is not required cannot say which conditions it lacks."""
    return {
        "title": f"Work plan {plan.case}",
        "plan": plan,
        "sheet": Sheet.of(plan),
        "vehicle": drawing_vehicle(plan.picture),
        "considered": [considered_sentence(item, program) for item in plan.considered],
    }


def supplement_values(found: Supplement) -> dict[str, Any]:
    """For a supplement: its changes by kind."""
    groups = [(kind, [c for c in found.changes if c.kind == kind]) for kind in KINDS]
    return {
        "title": f"Supplement {found.case}",
        "found": found,
        "groups": [(kind, changes) for kind, changes in groups if changes],
        "headings": HEADINGS,
        "state_words": state_words,
        "pack_words": pack_change_words,
    }


def handover_values(found: Handover) -> dict[str, Any]:
    """For a handover: what is missing by who can close it."""
    people = dict.fromkeys(m.who for m in found.missing)
    return {
        "title": f"Handover {found.case}",
        "found": found,
        "missing": [(who, [m for m in found.missing if m.who == who]) for who in people],
        "says": SAYS,
    }
