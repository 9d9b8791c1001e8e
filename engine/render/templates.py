"""Templates filled so that text from a case or a pack can never become markup, in HTML or in Markdown."""

from __future__ import annotations

import re
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from ..model.plan import Line, Support
from . import words
from .drawing_strip import drawing_strip
from .phrases import reading_words
from .sheet import fact_value, named

if TYPE_CHECKING:
    from jinja2 import Environment

ORIGINS: Final = {"observed": "observed", "derived": "concluded", "assumed": "assumed"}
OUTCOMES: Final = {"pass": "passed", "fail": "failed"}
# Escaped where they mean something: an underscore in an id or a colon in a time of day stays readable.
_MARKS = re.compile(
    r"[\\`*\[\]<>#|~&$]|:(?=//)|(?<=www)\.|(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])|^[-+=]|(?<=^\d)[.)]|(?<=^\d\d)[.)]"
)
_NAMED: Final = {"<": "&lt;", ">": "&gt;", "&": "&amp;"}


def fill(template: str, **values: Any) -> str:
    """A template of this folder, filled."""
    return _environment(template.endswith(".html.j2")).get_template(template).render(**values).strip() + "\n"


def markdown_safe(text: object) -> str:
    """Text that Markdown shows as it was typed: no markup, link, table cell or HTML can come of it."""
    return _MARKS.sub(lambda m: _NAMED.get(m[0], f"\\{m[0]}"), words.clean(text))


def first_reason(line: Line) -> Support | None:
    """The support to read first: one that carries the line's strength."""
    return next((s for s in line.because if s.strength == line.strength), next(iter(line.because), None))


@lru_cache(maxsize=2)
def _environment(html: bool) -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined  # only a page needs it
    from markupsafe import Markup

    escape = words.clean if html else markdown_safe

    def harmless(value: object) -> object:
        return value if isinstance(value, Markup) else escape(value)

    def own(value: object) -> object:
        """Text somebody typed, kept from turning the direction of the text around it."""
        return Markup("<bdi>{}</bdi>").format(words.clean(value)) if html else value

    folder = resources.files(__package__)
    environment = Environment(
        autoescape=html,
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
        "file_name": words.file_name,
        "day": words.day,
        "named": named,
        "several": words.several,
        "drawn": Markup,
    }
    environment.globals |= {
        "words": words,
        "style": Markup((folder / "page.css").read_text("utf-8")) if html else "",
        "strip": lambda reading, id_: Markup(drawing_strip(reading, id_)),
        "reading_words": reading_words,
        "fact_value": fact_value,
        "first_reason": first_reason,
        "origins": ORIGINS,
        "outcomes": OUTCOMES,
    }
    return environment
