"""The third engine: the translation that promises are proved on gives the lines the plan gives."""

from __future__ import annotations

import random
from functools import cache
from typing import Any

import pytest
from command import built_in
from fuzzed import blocks
from knockon.engine.infer.lines import find_lines
from knockon.engine.infer.run import infer
from knockon.engine.model.case import Case, Entry, State
from knockon.engine.model.outcome import FIRM, Outcome, Record
from knockon.engine.model.program import Program
from knockon.engine.model.rule import STRENGTHS
from knockon.engine.review.asp import Translation, atom
from knockon.engine.review.domains import Domain, domains
from random_packs import random_program

clingo = pytest.importorskip("clingo")
MARKETS = {"base": 1, "stacked": 3}
Strengths = dict[tuple[str, ...], str]
Open = tuple[Program, list[Domain], Any]


@cache
def stack(size: int) -> Open:
    """A stack of the packs that come with the tool."""
    return opened(built_in(size))


def opened(program: Program) -> Open:
    """A program, its slots, and its translation grounded with every answer left open."""
    slots = domains(program)
    # what excludes what is left out: the engines must agree on odd cases too
    rules = [
        line for line in Translation(program, slots).text.split("\n") if not line.startswith((":-", "#"))
    ]
    control = clingo.Control([], logger=lambda *_: None)
    control.add("base", [], "\n".join(rules))
    control.ground([("base", [])])
    return program, slots, control


def imagine(program: Program, slots: list[Domain], seed: int) -> Case:
    """A fully known case: mostly clear, or mostly not, as the seed has it."""
    dice = random.Random(seed)
    share = dice.choice((0.02, 0.1, 0.4, 0.9))
    said: dict[tuple[str, ...], State] = {}
    for d in slots:
        values = d.clear
        if d.values and dice.random() < share:
            most = 1 if d.single else len(d.values)
            values = frozenset(dice.sample(d.values, dice.randint(1 if d.must else 0, most)))
        elif d.must and not values:
            values = frozenset(d.values[:1])
        if d.slot[0] == "fitted" and not values:
            values = frozenset(("no",))
        said[d.slot] = State(values)
    results = {
        s[1:]: Entry("2026-01-01", s[1], s[2], str(*v.value))
        for s, v in said.items()
        if s[0] == "result" and v.value
    }
    return Case(f"seed {seed}", "2026-11-25", {}, said, {}, tuple(results.values()), results, ())  # type: ignore[arg-type]


def by_solver(slots: list[Domain], control: Any, case: Case) -> tuple[Strengths, Strengths]:
    """Lines and made records with their strengths, as the translation has them."""
    assumed = []
    for d in slots:
        for value in d.values:
            assumed.append((clingo.parse_term(atom(d.slot, value)), value in case.slots[d.slot].value))
    seen: dict[str, Strengths] = {"on": {}, "m": {}}
    with control.solve(assumed, yield_=True) as handle:
        (model,) = list(handle)[:1] or [None]
        assert model is not None
        for symbol in model.symbols(atoms=True):
            if symbol.name in seen:
                *key, level = symbol.arguments
                words = tuple(k.string for k in key)
                best = max(level.number, STRENGTHS.index(seen[symbol.name].get(words, STRENGTHS[0])) + 1)
                seen[symbol.name][words] = STRENGTHS[best - 1]
    return seen["on"], seen["m"]


def by_engines(program: Program, case: Case) -> tuple[Strengths, Strengths, Outcome]:
    """The same from the plan's own road."""
    outcome = infer(program, case)
    found = find_lines(program, case, outcome)
    lines = {(k[0], k[1]): line.strength for k, line in found.lines.items()}
    records = {(r.kind, r.subject, r.place): s for r, s in found.strengths[FIRM].records.items()}
    return lines, records, outcome


def compare(case: Case, program: Program, slots: list[Domain], control: Any) -> bool:
    """Both roads over one case; False where an answer against the law reopens a question."""
    lines, records, outcome = by_engines(program, case)
    if outcome.contradictions:
        return False
    solved_lines, solved_records = by_solver(slots, control, case)
    assert solved_records == records, case.id
    assert solved_lines == lines, case.id
    return True


@blocks(1, 2)
@pytest.mark.parametrize("size", MARKETS.values(), ids=MARKETS)
def test_random_known_cases_give_the_same_lines(size: int, block: int) -> None:
    program, slots, control = stack(size)
    seeds = range(30 * block, 30 * block + 30)
    assert sum(compare(imagine(program, slots, seed), program, slots, control) for seed in seeds) > 15


def test_random_packs_give_the_same_lines() -> None:
    compared = 0
    for seed in range(40):
        program, slots, control = opened(random_program(seed))
        for number in range(6):
            compared += compare(imagine(program, slots, 100 * seed + number), program, slots, control)
    assert compared > 100


def test_the_comparison_is_not_empty() -> None:
    program, slots, _ = stack(1)
    seen: set[Record] = set()
    for seed in range(60):
        seen |= infer(program, imagine(program, slots, seed))[FIRM].made
    planned = {r.subject for r in seen if r.kind == "planned"}
    assert len(planned) > 0.9 * len(program.operations)
    assert {r.kind for r in seen} >= {"derived", "severity", "planned", "hold", "drop", "void"}
