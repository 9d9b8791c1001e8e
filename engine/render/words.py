"""The words people read and text from a case made harmless, shared so that the formats never differ."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from ..model.plan import Plan
from ..model.span import Span

STRENGTH: Final = {
    "required": "required",
    "unless_procedure": "required unless the procedure says otherwise",
    "check_whether": "check whether it is needed",
}
PROGRESS: Final = {
    "open": "open",
    "held": "held",
    "passed": "passed",
    "failed": "failed",
    "void": "void: to be done again",
    "waived": "waived",
}
SEVERITY: Final = (
    "no jolt found",
    "light: skins and covers",
    "moderate: energy went behind the covers",
    "major: structure or a wheel moved",
    "severe: front or curtain bags fired, or the vehicle rolled",
)
PHASE: Final = {
    "structural": "structural repair",
    "body": "body repair",
    "reassembly": "reassembly and power-up",
    "align": "wheel alignment",
    "calibrate": "calibrations and sensitivity checks",
    "scan_post": "post-repair scan",
    "road_test": "road test",
    "qc": "final quality check",
}
WHO: Final = {"scan_tech": "scan technician", "lookup": "person who looks up the data"}
CLOSING: Final = (
    "The vehicle maker's repair procedure, local law and trained, licensed people decide what is done. "
    "Acceptance limits come from the procedure for this exact vehicle, never from this page."
)
MEMORY: Final = "from memory: read the section before quoting it"
LONGEST: Final = 1500

# Terminal escapes, line separators, lone surrogates and direction overrides change how other text reads.
_HARMFUL = (  # compiled at first use
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)
_BREAKS = re.compile("[\t\n\r\u2028\u2029]+")


def clean(text: object, longest: int = LONGEST) -> str:
    """Text on one line without control characters or direction overrides, cut (and said so) when endless."""
    plain = str(text)
    if not plain.isprintable():  # none of the harmful ones is
        plain = re.sub(_HARMFUL, "", _BREAKS.sub(" ", plain))
    if len(plain) <= longest:
        return plain
    cut = f" … ({len(plain) - longest} more characters)" if longest > 200 else "…"
    return plain[:longest].rstrip() + cut


def spoken(id_: str, names: Mapping[str, str] | None = None) -> str:
    """An id as words: its name, else its own words: rear_left -> rear left."""
    return (names or {}).get(id_, id_.replace("_", " "))


def where(span: Span) -> str:
    """File name and line; the folder is this machine's business, not the reader's."""
    if not span.file or span.line < 1:
        return ""
    return f"{file_name(span.file)}, line {span.line}"


def file_name(path: str) -> str:
    """The last part of a path, however it is written."""
    return re.split(r"[/\\]", path)[-1]


def day(at: str) -> str:
    """2026-11-27T11:00 as people write it: date, then time."""
    return at.replace("T", " ")


def assumed_words(plan: Plan) -> str:
    """What to say of a severity that rests on an assumption."""
    sure = f"level {plan.severity_certain}" if plan.severity_certain else "no level"
    return f"on what is assumed; {sure} is certain"


def several(count: int, one: str, many: str = "") -> str:
    """`1 line`, `3 lines`."""
    return f"{count} {one if count == 1 else many or one + 's'}"


_MARKS = re.compile(r"([\\`*_\[\]<>|#])")


def marked(text: object) -> str:
    """Text for a Markdown page, where none of it may be read as a mark."""
    return _MARKS.sub(r"\\\1", clean(text))
