"""Dated rules that follow each other: days on which none or two of them are in force."""

from __future__ import annotations

from collections.abc import Iterator

from ..diagnostics.message import Culprit, Message
from ..model.answers import DATE_FACT
from ..model.program import Program
from ..model.rule import Alternative, Rule
from .implication import contradiction, items, patterns

FOREVER = "9999-12-31"
Shape = tuple[object, ...]


def dated(program: Program) -> Iterator[Message]:
    """Gaps and overlaps between versions: dated rules of one pack that look at and do the same things."""
    families: dict[Shape, list[Alternative]] = {}
    for a in program.alternatives:
        if a.rule.valid_from or a.rule.valid_until:
            families.setdefault(_shape(a, program), []).append(a)
    seen: set[tuple[str, str]] = set()
    for family in families.values():
        family.sort(key=lambda a: (a.rule.valid_from, a.rule.valid_until or FOREVER, a.rule.id))
        for i, later in enumerate(family):
            earlier = [a for a in family[:i] if a.rule is not later.rule and _versions(a, later, program)]
            if not earlier:
                continue
            last = max(earlier, key=lambda a: a.rule.valid_until or FOREVER)
            pair = (last.rule.id, later.rule.id)
            if pair not in seen:
                seen.add(pair)
                yield from _seam(last.rule, later.rule)


def _shape(a: Alternative, program: Program) -> Shape:
    looks = {(p.kind, p.subjects, p.relation, p.systems) for p in patterns(a) if p.subjects != (DATE_FACT,)}
    return (a.rule.pack, frozenset(looks), items(a, program))


def _versions(one: Alternative, other: Alternative, program: Program) -> bool:
    """Whether one case could meet both, were it not for the dates."""
    return not contradiction(
        [p for p in (*patterns(one), *patterns(other)) if p.subjects != (DATE_FACT,)], program
    )


def _seam(earlier: Rule, later: Rule) -> Iterator[Message]:
    end, start = earlier.valid_until or FOREVER, later.valid_from
    culprits = (
        Culprit(earlier.span, f"until {earlier.valid_until or 'further notice'}"),
        Culprit(later.span, f"from {start or 'the beginning'}"),
    )
    if end < start:
        text = f"from {end} to {start} neither `{earlier.id}` nor `{later.id}` is in force"
        step = f"let the later one begin on {end}, or the earlier one end on {start}"
        yield Message("KN431", text, culprits, next_step=step, level="warning")
    elif end > start:
        until = min(end, later.valid_until or FOREVER)
        days = f"from {start or 'the beginning'}" + ("" if until == FOREVER else f" to {until}")
        text = f"{days} both `{earlier.id}` and `{later.id}` are in force"
        step = f"let the earlier one end on {start}" if start else "say from when each of them holds"
        yield Message("KN432", text, culprits, next_step=step, level="warning")
