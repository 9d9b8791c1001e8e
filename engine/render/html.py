"""Plan, supplement and handover as one self-contained page: no network, no script, text never becomes markup."""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from ..model.handover import Handover
from ..model.plan import Line, Plan, Support
from ..model.program import Program
from ..model.supplement import KINDS, Supplement
from . import words
from .drawing_log import drawing_log
from .drawing_order import drawing_order
from .drawing_strip import drawing_strip, reading_words
from .drawing_vehicle import drawing_vehicle
from .sheet import Sheet, considered_sentence, facts_by_origin, named

if TYPE_CHECKING:
    from jinja2 import Environment

QUESTIONS_SHOWN = 8
ORIGIN_WORDS = {"observed": "observed", "derived": "concluded", "assumed": "assumed"}


def plan_html(plan: Plan, program: Program | None = None) -> str:
    """The plan as a page. With the program, what is not required also says what it lacks."""
    sheet = Sheet.of(plan)
    return _page(
        "plan.html.j2",
        title=f"Work plan {plan.case}",
        plan=plan,
        sheet=sheet,
        vehicle=drawing_vehicle(plan.picture),
        order=drawing_order(sheet),
        timeline=drawing_log(sheet.log()),
        considered=[considered_sentence(item, program) for item in plan.considered],
    )


def supplement_html(found: Supplement) -> str:
    """The supplement as a page."""
    from .supplement import HEADINGS, pack_change_words, state_words

    groups = [(kind, [c for c in found.changes if c.kind == kind]) for kind in KINDS]
    return _page(
        "supplement.html.j2",
        title=f"Supplement {found.case}",
        found=found,
        groups=[(kind, changes) for kind, changes in groups if changes],
        headings=HEADINGS,
        state_words=state_words,
        pack_words=pack_change_words,
    )


def handover_html(found: Handover) -> str:
    """The handover as a page."""
    from .handover import SAYS

    by_who = {
        who: [m for m in found.missing if m.who == who] for who in dict.fromkeys(m.who for m in found.missing)
    }
    return _page(
        "handover.html.j2",
        title=f"Handover {found.case}",
        found=found,
        missing=list(by_who.items()),
        says=SAYS,
    )


def first_reason(line: Line) -> Support | None:
    """The support to read first: one that carries the line's strength."""
    return next((s for s in line.because if s.strength == line.strength), next(iter(line.because), None))


def _page(template: str, **values: Any) -> str:
    return _environment().get_template(template).render(**values) + "\n"


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined  # only a page needs it
    from markupsafe import Markup

    def harmless(value: object) -> object:
        return value if isinstance(value, Markup) else words.clean(value)

    def own(value: object) -> Markup:
        """Text somebody typed, kept from turning the direction of the text around it."""
        return Markup("<bdi>{}</bdi>").format(words.clean(value))

    folder = resources.files(__package__)
    environment = Environment(
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        finalize=harmless,
        loader=FunctionLoader(lambda name: (folder / name).read_text("utf-8")),
    )
    environment.filters |= {
        "own": own,
        "spoken": words.spoken,
        "where": words.where,
        "day": words.day,
        "named": named,
        "several": words.several,
        "drawn": Markup,
    }
    environment.globals |= {
        "words": words,
        "style": Markup((folder / "page.css").read_text("utf-8")),
        "strip": lambda reading, id_: Markup(drawing_strip(reading, id_)),
        "reading_words": reading_words,
        "first_reason": first_reason,
        "facts_by_origin": facts_by_origin,
        "origins": ORIGIN_WORDS,
        "questions_shown": QUESTIONS_SHOWN,
    }
    return environment
