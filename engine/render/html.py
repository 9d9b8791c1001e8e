"""Plan, supplement and handover as one self-contained page: no network and no script."""

from __future__ import annotations

from ..model.handover import Handover
from ..model.plan import Plan
from ..model.program import Program
from ..model.supplement import Supplement
from .drawing_log import drawing_log
from .drawing_order import drawing_order
from .pages import handover_values, plan_values, supplement_values
from .templates import fill


def plan_html(plan: Plan, program: Program | None = None) -> str:
    """The plan as a page. With the program, what is not required also says what it lacks."""
    values = plan_values(plan, program)
    sheet = values["sheet"]
    return fill("plan.html.j2", **values, order=drawing_order(sheet), timeline=drawing_log(sheet.log()))


def supplement_html(found: Supplement) -> str:
    """The supplement as a page."""
    return fill("supplement.html.j2", **supplement_values(found))


def handover_html(found: Handover) -> str:
    """The handover as a page."""
    return fill("handover.html.j2", **handover_values(found))
