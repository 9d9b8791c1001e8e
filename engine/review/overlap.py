"""Rules that add nothing to another, and rules that undo each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product

from ..diagnostics.message import Culprit, Message
from ..model.program import Program
from ..model.rule import INHERITED, STRENGTHS, Alternative, Rule
from .implication import by_rule, includes, items, no_weaker, whenever

REQUIRED = STRENGTHS[-1]


def overlaps(program: Program) -> Iterator[Message]:
    """Duplicates, rules another one makes superfluous, plans always dropped, drops that never take effect."""
    groups = by_rule(program)
    inside = {
        (one, other)
        for one, other in product(groups, repeat=2)
        if one != other and _inside(groups[one], groups[other], program)
    }
    order = list(groups)
    for one, other in (
        (program.rules[a], program.rules[b]) for a, b in product(groups, repeat=2) if (a, b) in inside
    ):
        later = order.index(one.id) > order.index(other.id)
        if (other.id, one.id) not in inside or (later and one.pack != other.pack):
            yield from _superfluous(one, other)
        elif later and one.pack == other.pack:
            text = f"`{other.id}` and `{one.id}` ask for the same under the same conditions"
            yield _pair(
                "KN414", text, other, "one", one, "the other", "keep one; join their reasons and sources"
            )
    yield from _conflicts(groups, program)


def _superfluous(one: Rule, other: Rule) -> Iterator[Message]:
    """A rule with a source or a note of its own adds these to the line, so it is left alone."""
    if not one.note and set(one.source) <= set(other.source):
        text = f"`{one.id}` adds nothing to `{other.id}`, which holds whenever it does and is no weaker"
        step = "take it out, or narrow the other rule"
        yield _pair(
            "KN413", text, one, "adds nothing", other, "asks for as much under fewer conditions", step
        )


def _pair(code: str, text: str, one: Rule, does: str, other: Rule, other_does: str, step: str) -> Message:
    culprits = (Culprit(one.span, does), Culprit(other.span, other_does))
    return Message(code, text, culprits, next_step=step, level="warning")


def _inside(ones: list[Alternative], others: list[Alternative], program: Program) -> bool:
    """Whether the other rule covers each alternative: conditions, effects and strength."""
    if not no_weaker(others[0].rule, ones[0].rule):
        return False
    verbs = {e.verb for e in others[0].effects}
    return verbs >= {e.verb for e in ones[0].effects} and all(
        any(_covered(a, b, program) for b in others) for a in ones
    )


def _covered(a: Alternative, b: Alternative, program: Program) -> bool:
    wanted, free = items(a, program), items(b, program)
    if not {i[1] for i in wanted if not i[1].startswith("$")} <= {i[1] for i in free}:
        return False  # most pairs end here, before their conditions are compared
    names = whenever(a, b, program)
    return names is not None and all(includes(items(b, program, names=names), *i) for i in wanted)


def _conflicts(groups: Mapping[str, list[Alternative]], program: Program) -> Iterator[Message]:
    """Plan against drop. A drop takes off whatever no rule requires."""
    droppers = [g for g in groups.values() if any(e.verb == "drop" for e in g[0].effects)]
    for dropper, planner in product(droppers, groups.values()):
        drops, plans = dropper[0].rule, planner[0].rule
        if plans.strength not in (REQUIRED, INHERITED) and (
            lost := _undone(planner, "plan", dropper, "drop", program)
        ):
            text = f"`{plans.id}` plans {_list(lost)}, and `{drops.id}` drops it in every such case"
            step = "narrow the drop, or take the plan out"
            yield _pair("KN415", text, plans, "plans it", drops, "drops it", step)
        if plans.strength == REQUIRED and (lost := _undone(dropper, "drop", planner, "plan", program)):
            text = f"`{drops.id}` drops {_list(lost)}, and `{plans.id}` requires it in every such case"
            step = "let the requiring rule stand back with `unless`, or take the drop out"
            yield _pair("KN416", text, drops, "drops it", plans, "requires it", step)


def _undone(
    ones: list[Alternative], does: str, others: list[Alternative], undoes: str, program: Program
) -> list[str]:
    """What one rule does and the other undoes, at the same place, in each of its alternatives."""
    found = {i[1] for i in items(ones[0], program, does)}
    for a in ones:
        maps = [(b, names) for b in others if (names := whenever(a, b, program)) is not None]
        undone = frozenset(i for b, names in maps for i in items(b, program, undoes, names))
        kept = {s for _, s, place in items(a, program, does) if not includes(undone, undoes, s, place)}
        found = set() if any(s.startswith("$") for s in kept) else found - kept
    return sorted(found)


def _list(ids: list[str]) -> str:
    return ", ".join(f"`{i}`" for i in ids)
