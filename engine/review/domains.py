"""The slots of a fully known case, and what each may hold: what a proof ranges over."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Sequence

from ..load.slots import METHOD_ASSUMED, PARTS_FINAL, asked_methods
from ..model.answers import ACTIONS, DAMAGE, DATE_FACT, METHODS, OUTCOMES, VERDICTS
from ..model.case import Slot
from ..model.catalogue import FactSpec, Value
from ..model.places import KEPT_BY
from ..model.program import Program
from ..model.record import dataclass
from ..model.rule import Alternative, Pattern


@dataclass(frozen=True, slots=True)
class Domain:
    """What one slot may hold: `single` at most one value, `must` at least one; `clear` costs nothing."""

    slot: Slot
    values: tuple[Value, ...]
    single: bool
    must: bool
    clear: frozenset[Value] = frozenset()


def domains(program: Program, extra: Iterable[Pattern] = ()) -> list[Domain]:
    """Every slot a fully known case has. `extra` patterns (of promises) cut number facts as the rules do."""
    cuts = _cuts(program, extra)
    found = [_fact(spec, cuts.get(spec.id, set()), program) for spec in program.facts.values()]
    yes: tuple[Value, ...] = ("yes",)
    for system in program.systems.values():
        always = frozenset(yes) if system.universal else frozenset[Value]()
        found.append(Domain(("fitted", system.id), yes, True, system.universal, always))
        found.append(Domain(("code", system.id), yes, True, False))
    found += [Domain(("method", s), METHODS, True, True, METHOD_ASSUMED) for s in asked_methods(program)]
    harmed = tuple(d for d in DAMAGE if d != "none")
    for part in program.parts.values():
        for place in part.places:
            found.append(Domain(("touched", part.id, place), ACTIONS, False, False))
            found.append(Domain(("damaged", part.id, place), harmed, True, False))
    for operation in program.operations.values():
        found.append(Domain(("procedure", operation.id), VERDICTS, True, False))
        kept = KEPT_BY[operation.per]
        found += [Domain(("result", operation.id, place), OUTCOMES, True, False) for place in kept]
    return found


def _cuts(program: Program, extra: Iterable[Pattern]) -> dict[str, set[float]]:
    """The thresholds each number or date fact is compared with anywhere."""
    found: dict[str, set[float]] = {}
    tests = [(p.subjects[0], p.test) for p in (*patterns(program.alternatives), *extra) if p.kind == "fact"]
    tests += [(id_, t) for i in program.impossible for _, id_, t in i.tests]
    tests += [(id_, t) for i in program.implied for _, id_, t in i.tests]
    for fact, test in tests:
        if test is not None and test.op in ("at_least", "below"):
            found.setdefault(fact, set()).add(float(test.values[0]))
    return found


def patterns(alternatives: Iterable[Alternative]) -> Iterator[Pattern]:
    """Every pattern of some alternatives."""
    for a in alternatives:
        yield from (*a.ground, *a.records, *(p for group in a.unless for p in group))


def _fact(spec: FactSpec, cuts: set[float], program: Program) -> Domain:
    slot = ("fact", spec.id)
    if slot == PARTS_FINAL:
        return Domain(slot, ("yes",), True, True, frozenset(("yes",)))
    if spec.type in ("number", "date"):
        values = _intervals(sorted(cuts), spec.type == "date")
        dated = spec.type == "date" and bool(values)
        today = float(program.packs[0].date.replace("-", "")) if spec.id == DATE_FACT else 0.0
        clear = [v for v in values if float(v) <= today][-1:] or list(values[:1])
        return Domain(slot, values, True, dated, frozenset(clear if dated else ()))
    values = tuple(program.systems) if "*" in spec.values else tuple(spec.values)
    choice = spec.type == "choice"
    return Domain(slot, values, choice, choice, frozenset(spec.clear))


def _intervals(cuts: Sequence[float], is_date: bool) -> tuple[Value, ...]:
    """One number out of each interval the thresholds cut; nothing below zero."""
    if not cuts:
        return ()
    low = cuts[0]
    if is_date:
        day = datetime.datetime.strptime(f"{low:.0f}", "%Y%m%d") - datetime.timedelta(days=1)
        return (float(day.strftime("%Y%m%d")), *cuts)
    below = low - 1 if low >= 1 else low / 2
    return (below, *cuts) if low > 0 else tuple(cuts)
