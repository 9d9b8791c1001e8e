"""Plan, supplement and handover as Markdown that pastes well into a message."""

from __future__ import annotations

from ..model.handover import Handover
from ..model.plan import Plan
from ..model.program import Program
from ..model.supplement import Supplement
from .pages import handover_values, plan_values, supplement_values
from .templates import fill


def plan_markdown(plan: Plan, program: Program | None = None) -> str:
    """The plan. With the program, what is not required also says what it lacks."""
    return fill("plan.md.j2", **plan_values(plan, program))


def supplement_markdown(found: Supplement) -> str:
    """The supplement: what changed, by kind, each with its reasons."""
    return fill("supplement.md.j2", **supplement_values(found))


def handover_markdown(found: Handover) -> str:
    """The handover: what is missing by who can close it, then what is documented."""
    return fill("handover.md.j2", **handover_values(found))
