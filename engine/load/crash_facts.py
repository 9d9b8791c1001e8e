"""What the vehicle number and the crash figures of a case say, as facts beside those that were told.

A computed fact never overwrites a told one; where they differ the case keeps both and asks.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from ..diagnostics.message import Messages
from ..model.case import NOTHING, Answers, State
from ..model.catalogue import Value
from ..model.program import Program
from ..model.span import Span
from . import crash, vin
from .tree import Tree

UNITS = {
    "km/h": ("longitudinal_delta_v", "lateral_delta_v", "closing_speed"),
    "kg": ("own_mass", "other_mass"),
}


def vehicle_number(tree: Tree, program: Program, answers: Answers, messages: Messages) -> None:
    """Check the vehicle identification number; take the model year from it where that is certain."""
    number = (tree.value.get("vehicle") or {}).get("vin")
    if number is None:
        return
    span, market = tree.at("vehicle", "vin"), _one(answers, "market") or "other"
    faults = vin.faults(str(number), str(market))
    for fault in faults:
        at = span._replace(column=span.column + fault.position - 1, length=1)
        text = f"the vehicle identification number is wrong: {fault.cause}"
        messages.add("KN330", text, at, next_step=fault.next_step)
    if faults or market != "us" or "model_year" not in program.facts:
        return
    weight = _one(answers, "gvwr_kg")
    read, formula = vin.model_years(str(number), float(weight) if weight is not None else None)
    told = answers.said.get(("fact", "model_year"))
    years = frozenset[Value](float(y) for y in read)
    if told is not None and told.known and not told.known & years:
        listed = " or ".join(str(y) for y in read)
        text = f"the model year was told, but the number says {listed} ({formula})"
        _dispute(answers, messages, text, told.span, span)
    elif told is None and len(years) == 1:
        answers.said[("fact", "model_year")] = State(years, NOTHING, span, f"computed: {formula}")


def _one(answers: Answers, fact: str) -> Value | None:
    state = answers.said.get(("fact", fact))
    return next(iter(state.known)) if state is not None and state.known else None


def computed_answers(tree: Tree, program: Program, answers: Answers, messages: Messages) -> None:
    """Turn direction, damage code, recorder values and closing speed into facts with their origin."""
    raw = tree.value.get("crash") or {}
    values = {key: _quantity(key, given, tree, messages) for key, given in raw.items()}
    computed: list[tuple[crash.Computed, Span]] = []
    for keys, optional, compute in _SOURCES:
        if all(values.get(key) is not None for key in keys):
            given = [values[k] for k in (*keys, *optional) if values.get(k) is not None]
            span = tree.at("crash", keys[0])
            computed += [(c, span) for c in _run(compute, given, span, tree, messages)]
    _take(computed, program, answers, messages)


# what a computation needs, what it can use besides, and the computation
_SOURCES: Sequence[tuple[tuple[str, ...], tuple[str, ...], Callable[..., list[crash.Computed]]]] = (
    (("direction_deg",), (), crash.from_direction),
    (("damage_code",), (), crash.from_damage_code),
    (("longitudinal_delta_v",), ("lateral_delta_v",), crash.from_recorder),
    (("closing_speed", "own_mass", "other_mass"), ("restitution",), crash.from_closing_speed),
)


def _quantity(key: str, given: Any, tree: Tree, messages: Messages) -> Any:
    for unit, keys in UNITS.items():
        if key in keys:
            if given["unit"] != unit:
                text = f"`{key}` is given in `{given['unit']}`"
                messages.add("KN305", text, tree.at("crash", key, "unit"), next_step=f"give it in {unit}")
                return None
            return float(given["value"])
    return given


def _run(
    compute: Callable[..., list[crash.Computed]],
    values: list[Any],
    span: Span,
    tree: Tree,
    messages: Messages,
) -> list[crash.Computed]:
    try:
        return compute(*values)
    except crash.CrashError as error:
        at = span
        if isinstance(error.position, int):
            at = span._replace(column=span.column + error.position - 1, length=1)
        elif ("crash", error.position) in tree.values:
            at = tree.at("crash", error.position)
        messages.add("KN332", f"{error.cause}: expected {error.expected}", at, next_step=error.next_step)
        return []


def _take(
    computed: list[tuple[crash.Computed, Span]], program: Program, answers: Answers, messages: Messages
) -> None:
    told = {
        slot[1]: sorted(state.known, key=str)
        if program.facts[slot[1]].type == "set"
        else next(iter(state.known))
        for slot, state in answers.said.items()
        if slot[0] == "fact" and state.known
    }
    spans = {id(c): span for c, span in computed}
    for other in crash.compare(told, [c for c, _ in computed]):
        first = answers.said.get(("fact", other.other.fact))
        places = (first.span if first else None, spans.get(id(other.one)), spans.get(id(other.other)))
        _dispute(answers, messages, other.because, *filter(None, places))
    for item, span in computed:
        slot = ("fact", item.fact)
        if item.fact not in program.facts or (slot in answers.said and answers.said[slot].known is not None):
            continue
        values = frozenset(item.value if isinstance(item.value, tuple) else (item.value,))
        word = "estimated" if item.estimate else "computed"
        answers.said[slot] = State(values, NOTHING, span, f"{word}: {item.formula}")


def _dispute(answers: Answers, messages: Messages, text: str, *spans: Span) -> None:
    answers.disputes.append((text, spans))
    messages.add(
        "KN331", text, *spans, next_step="find out which is right and correct the other", level="warning"
    )
