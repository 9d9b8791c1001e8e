"""Plan, supplement and handover as one self-contained page: no network, no script, text never becomes markup."""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from ..model.plan import Line, Plan, Support
from ..model.program import Program
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
        timeline=drawing_log(plan.log),
        considered=[considered_sentence(item, program) for item in plan.considered],
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
