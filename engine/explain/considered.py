"""The systems that are fitted and for which nothing is required, each with what would have brought it in."""

from __future__ import annotations

from collections.abc import Iterator

from ..infer.check import World
from ..infer.lacking import failing, settled
from ..model.outcome import POSSIBLE, PROVISIONAL
from ..model.plan import Considered
from ..model.rule import Alternative, Pattern
from .facts import Evidence


def considered(evidence: Evidence) -> Iterator[Considered]:
    """One entry per fitted system without a line: the nearest rule and the first condition it lacks."""
    program = evidence.program
    world = settled(program, evidence.case, evidence.outcome)
    busy = {
        s
        for (operation, _), line in evidence.found.lines.items()
        if line.standing != POSSIBLE
        for s in program.operations[operation].systems
    }
    for system in program.systems.values():
        if system.id in busy or evidence.case.state(("fitted", system.id)).known != frozenset(("yes",)):
            continue
        nearest = _nearest(evidence, world, system.id)
        if nearest is None:
            yield Considered("system", system.id, system.title, "")
        else:
            rule, lacking = nearest[0].rule, nearest[1]
            yield Considered("system", system.id, system.title, rule.title, (rule.id,), lacking)
    for key, gone in sorted(evidence.found.dropped.items()):
        title = program.operations[key[0]].title
        rules = tuple(
            dict.fromkeys(evidence.by_id[f.alternative].rule.id for f in (*gone.dropped, *gone.asked))
        )
        if gone.dropped:
            why = evidence.by_id[gone.dropped[0].alternative].rule.why
            yield Considered("dropped", ".".join(w for w in key if w), title, why, rules)


def _nearest(evidence: Evidence, world: World, system: str) -> tuple[Alternative, tuple[Pattern, ...]] | None:
    best: tuple[Alternative, tuple[Pattern, ...]] | None = None
    for a in evidence.program.alternatives:
        operations = [s for e in a.effects if e.verb == "plan" for s in e.subjects if not s.startswith("$")]
        if not any(system in evidence.program.operations[o].systems for o in operations):
            continue
        lacking, _ = failing(a, world, PROVISIONAL)
        if lacking and (best is None or len(lacking) < len(best[1])):
            best = a, lacking
    return best
