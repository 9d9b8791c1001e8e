"""From what a person wrote as an answer to the values of a fact: words, a number with its unit, a date."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from ..diagnostics.message import Messages
from ..model.case import NOTHING
from ..model.catalogue import FactSpec, Value
from ..model.program import Program
from ..model.span import Span
from .log import check_date
from .names import known
from .tree import Tree

LONGEST_SHOWN = 40
_QUANTITY = re.compile(r"\s*([-+]?[0-9]+(?:\.[0-9]+)?)\s*(\S.*?)?\s*\Z")


def number(value: Any) -> float:
    """A number, or a date YYYY-MM-DD as the number YYYYMMDD. ValueError when it is neither."""
    if isinstance(value, bool):
        raise ValueError("not a number")
    if isinstance(value, str) and value.count("-") == 2:
        return float(value.replace("-", ""))
    return float(value)


def read_value(
    spec: FactSpec, raw: Any, tree: Tree, path: tuple[str | int, ...], program: Program, messages: Messages
) -> Any:
    """The values of an answer, the word "unknown", or None with a message."""
    given = raw if isinstance(raw, list) else [raw]
    if raw is None or "unknown" in given:
        return "unknown"
    if spec.type in ("number", "date"):
        return _number(spec, raw, tree.at(*path), messages)
    if spec.type == "choice" and isinstance(raw, list):
        text = f"`{spec.id}` has one answer, not a list"
        messages.add("KN303", text, tree.at(*path), next_step="write the one word that fits")
        return None
    words = [str(v) for v in given if str(v) != "none" or spec.type != "set"]
    systems = "*" in spec.values
    allowed: Mapping[str, object] = program.systems if systems else spec.values
    if allowed.keys() >= (values := frozenset(words)):
        return values
    what = "system" if systems else f"value of `{spec.id}`"
    spans = [tree.at(*path, i) for i, v in enumerate(given) if str(v) in words]
    for word, span in zip(words, spans, strict=True):
        known(word, allowed, what, span, messages)
    return None


def _number(spec: FactSpec, raw: Any, span: Span, messages: Messages) -> frozenset[Value] | None:
    step = f"write it as `{spec.id}: 12 {spec.unit}`" if spec.unit else "write a number"
    shown = text if len(text := str(raw)) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."
    if spec.type == "date":
        step = "write it as YYYY-MM-DD"
    try:
        if spec.type == "date":
            return frozenset((number(str(raw)),)) if check_date(str(raw)[:10], span, messages) else None
        if str(raw) in ("none", "nothing"):
            return NOTHING
        match = _QUANTITY.match(str(raw))
        if match is None:
            raise ValueError
        value, unit = float(match[1]), match[2] or ""
    except ValueError:
        messages.add("KN304", f"`{shown}` is not {spec.type} for `{spec.id}`", span, next_step=step)
        return None
    if unit != spec.unit:
        found = f"in `{unit}`" if unit else "without a unit"
        if math.isfinite(value):
            step = f"write it as `{spec.id}: {value:g} {spec.unit}`, if {spec.unit} is meant"
        if unit:
            step = f"convert it to {spec.unit}" if spec.unit else "leave the unit out"
        messages.add("KN305", f"`{spec.id}` is given {found}", span, next_step=step)
        return None
    if spec.between and not spec.between[0] <= value <= spec.between[1]:
        least, most = (f"{n:g} {spec.unit}".rstrip() for n in spec.between)
        step = "read it again; write `unknown` if it cannot be found out"
        text = f"`{shown}` cannot be the {spec.title}: it lies between {least} and {most}"
        messages.add("KN315", text, span, next_step=step)
        return None
    return frozenset((value,))
