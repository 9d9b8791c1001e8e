"""A program written out as one Python function: what a case costs when nothing is left to look up.

Only for known cases and the kinds of pattern the synthetic workload uses; it knows one pass.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from knockon.engine.model.case import Case
from knockon.engine.model.outcome import Firing, Record
from knockon.engine.model.places import PLACES, expand, meets
from knockon.engine.model.program import Program
from knockon.engine.model.rule import Alternative, Pattern

Fired = set[tuple[str, tuple[tuple[str, ...], ...]]]


def generate(program: Program) -> Callable[[Case], set[Firing]]:
    """The function of a program: a case in, its firings out."""
    lines = ["def run(values, touched, zones, fired, made):"]
    rest = sorted(program.alternatives, key=lambda a: any(p.kind == "derived" for p in a.records))
    for a in rest:
        lines += [f"    {line}" for line in _lines(a, program)]
    names: dict[str, Any] = {"meets": {(a, b): meets(a, b) for a in PLACES for b in PLACES}}
    exec(compile("\n".join(lines), "generated", "exec"), names)
    run = names["run"]
    places = program.facts["zone"].places

    def job(case: Case) -> set[Firing]:
        values = {slot: state.known for slot, state in case.slots.items()}
        touched = [(*slot[1:3], known) for slot, known in values.items() if slot[0] == "touched"]
        zones = [(v, places[v]) for v in values["fact", "zone"]]
        fired: set[Any] = set()
        made: set[Any] = set()
        size = -1
        while size != len(made):  # a derived fact may rest on another
            size = len(made)
            run(values, touched, zones, fired, made)
        return {Firing(name, tuple(Record(*r) for r in records)) for name, records in fired}

    return job


def _lines(a: Alternative, program: Program) -> Iterator[str]:
    tests = [_test(p) for p in a.ground]
    tests += [f"('derived', {p.subjects[0]!r}, '') in made" for p in a.records if p.kind == "derived"]
    yield f"if {' and '.join(tests) or 'True'}:"
    depth, records, place = 1, [], "''"
    for p in a.records:
        pad = "    " * depth
        if p.kind == "derived":
            records.append(f"('derived', {p.subjects[0]!r}, '', '')")
        elif p.kind == "fact":
            yield f"{pad}for v, place in zones:"
            records.append("('fact', 'zone', place, v)")
            depth, place = depth + 1, "place"
        else:
            assert p.test is not None
            known = " and place == at" if place == "place" else ""
            yield f"{pad}for part, at, known in touched:"
            named = f" and part in {set(p.subjects)!r}" if p.subjects else ""
            yield f"{pad}    if not known.isdisjoint({p.test.values!r}){named}{known}:"
            records.append("('touched', part, at, '')")
            depth, place = depth + 2, "at"
    pad = "    " * depth
    yield f"{pad}fired.add(({a.id!r}, ({''.join(r + ', ' for r in records)})))"
    for effect in a.effects:
        kind = {"plan": "planned", "conclude": "derived"}[effect.verb]
        per = program.operations[effect.subjects[0]].per if kind == "planned" else "vehicle"
        for where in expand("", per):
            kept = f"if meets[{place}, {where!r}]: " if effect.place else ""
            yield f"{pad}{kept}made.add(({kind!r}, {effect.subjects[0]!r}, {where!r}))"


def _test(p: Pattern) -> str:
    assert p.test is not None
    return f"not values[{(p.kind, p.subjects[0])!r}].isdisjoint({p.test.values!r})"
