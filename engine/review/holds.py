"""Holds that nothing can release: they rest on what will not change, or wait for the very work they hold."""

from __future__ import annotations

from collections.abc import Iterator

from ..diagnostics.message import Culprit, Message
from ..model.catalogue import after_ids
from ..model.program import Program
from ..model.rule import Alternative, Pattern
from .implication import patterns, reach

FOUND_LATER = {"scan", "lookup", "teardown"}  # answers told at intake stay as they are


def never_released(program: Program) -> Iterator[Message]:
    """Each hold of a rule for which no later answer, result or look-up can make an end of it."""
    seen: set[tuple[str, str]] = set()
    for a in program.alternatives:
        for effect in (e for e in a.effects if e.verb == "hold"):
            for operation in effect.subjects:
                if (a.rule.id, operation) in seen or _ends(a, _waiting(operation, program), program):
                    continue
                seen.add((a.rule.id, operation))
                own = [p for p in (*patterns(a), *_unless(a)) if p.kind == "result"]
                culprits = [Culprit(a.rule.span, "this rule"), Culprit(effect.span, "holds it")]
                culprits += [Culprit(p.span, "waits for work that the hold keeps back") for p in own]
                text = (
                    f"`{a.rule.id}` holds `{operation}` for ever: nothing it rests on changes as work goes on"
                )
                step = "rest the hold on a result, a code or a later finding, or drop the operation instead"
                yield Message("KN417", text, tuple(culprits), next_step=step)


def _waiting(operation: str, program: Program) -> frozenset[str]:
    """The operation and everything that comes after it."""
    found, queue = {operation}, [operation]
    while queue:
        last = queue.pop()
        more = [o for o in program.operations if o not in found and last in after_ids(program.operations, o)]
        found.update(more)
        queue += more
    return frozenset(found)


def _unless(a: Alternative) -> Iterator[Pattern]:
    yield from (p for group in a.unless for p in group)


def _ends(a: Alternative, waiting: frozenset[str], program: Program) -> bool:
    """Whether a condition can cease to hold, or an `unless` can come to hold."""
    late = any(p.kind in ("procedure", "method") for p in _unless(a))
    return late or any(_changes(p, waiting, program, frozenset()) for p in (*patterns(a), *_unless(a)))


def _changes(p: Pattern, waiting: frozenset[str], program: Program, above: frozenset[str]) -> bool:
    if p.kind == "result":
        return not reach(p, program) <= waiting
    if p.kind == "fact":
        later = FOUND_LATER.intersection(program.facts[p.subjects[0]].sections)
        return bool(later) or (p.test is not None and p.test.op == "not_known")
    if p.kind != "derived":
        return p.kind == "code"
    made = ("conclude", p.subjects[0])
    makers = [
        a for a in program.alternatives if any(made == (e.verb, s) for e in a.effects for s in e.subjects)
    ]
    deeper = above | {made[1]}
    return made[1] in above or all(
        any(_changes(q, waiting, program, deeper) for q in (*patterns(m), *_unless(m))) for m in makers
    )
