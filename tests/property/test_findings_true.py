"""What a pack check finds is true: tried over random programs and random, fully answered cases."""

from __future__ import annotations

import random
import re
from collections import Counter

import pytest
from knockon.engine.diagnostics.message import Message
from knockon.engine.infer.certify import fixpoints
from knockon.engine.infer.lines import find_lines
from knockon.engine.infer.made import effects
from knockon.engine.infer.run import infer
from knockon.engine.model.case import Case
from knockon.engine.model.outcome import FIRM, Record
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.model.rule import STRENGTHS, Rule
from knockon.engine.review.firing import never_fire
from knockon.engine.review.overlap import overlaps
from random_cases import completed, random_case
from random_packs import Names, Writer, _link, random_program

CASES = 12


def close_kin(program: Program, rng: random.Random) -> Program:
    """The program with some rules copied and narrowed, so that there is something to find."""
    shelves = (
        program.facts,
        tuple(program.systems),
        program.parts,
        tuple(program.operations),
        tuple(program.derived),
    )
    writer = Writer(rng, Names(*shelves, by_law=()))
    rules = list(program.rules.values())
    for i, rule in enumerate(rng.sample(rules, min(4, len(rules)))):
        narrowed = (*rule.when, writer.pattern(0, True, free=False)) if rng.random() < 0.6 else rule.when
        then = rule.then[:1]
        if rng.random() < 0.5 and then[0].verb == "plan":
            then = (replace(then[0], verb="drop"),)
        strength = rule.strength if rng.random() < 0.5 else STRENGTHS[rng.randint(0, 2)]
        rules.append(replace(rule, id=f"K{i}", when=narrowed, then=then, strength=strength))
    by_law = tuple(s for r in rules for e in r.then if e.verb == "fits" for s in e.subjects)
    alternatives, strata = _link(rules, by_law)
    return replace(program, rules={r.id: r for r in rules}, alternatives=alternatives, strata=strata)


def needless(message: Message, program: Program) -> Program | None:
    """The program without the rule a finding calls superfluous, where it does so."""
    if message.code not in ("KN413", "KN414"):
        return None
    gone = rules_named(message, program)[message.code == "KN414"]
    return replace(program, alternatives=tuple(a for a in program.alternatives if a.rule is not gone))


def rules_named(message: Message, program: Program) -> list[Rule]:
    return [program.rules[n] for n in re.findall(r"`([^`]+)`", message.text) if n in program.rules]


def lines(program: Program, case: Case) -> tuple[object, ...]:
    """All that a plan shows of an outcome but its reasons."""
    outcome = infer(program, case, alone=True)
    found = find_lines(program, case, outcome).lines
    made = {r for r in outcome[FIRM].made if r.kind in ("hold", "void", "severity", "derived")}
    return ({key: (line.standing, line.strength) for key, line in found.items()}, made)


def holds_true(message: Message, program: Program, case: Case) -> bool:
    one = rules_named(message, program)[0]
    fixpoint = fixpoints(program, case)[FIRM]
    mine = [
        (a, f)
        for f in fixpoint.firings
        for a in program.alternatives
        if f.alternative == a.id and a.rule is one
    ]
    if message.code == "KN410":
        return not mine
    made = {r for a, f in mine for r in effects(a, f.records, program)}
    lost = set(re.findall(r"`([^`]+)`", message.text)[1:-1])
    if message.code == "KN415":
        return all(
            Record("drop", r.subject, r.place) in fixpoint.made
            for r in made
            if r.kind == "planned" and r.subject in lost
        )
    outcome = infer(program, case, alone=True)
    strong = find_lines(program, case, outcome).strengths[FIRM].records
    dropped = [Record("planned", r.subject, r.place) for r in made if r.kind == "drop" and r.subject in lost]
    return all(strong.get(r) == STRENGTHS[-1] for r in dropped)


@pytest.mark.slow
def test_findings_are_true_of_every_known_case() -> None:
    seen: Counter[str] = Counter()
    for seed in range(40):
        rng = random.Random(f"findings {seed}")
        program = close_kin(random_program(seed, 12), rng)
        found = [m for m in (*never_fire(program), *overlaps(program)) if m.code not in ("KN411", "KN412")]
        seen.update(m.code for m in found)
        judged = [(m, needless(m, program)) for m in found]
        for number in range(CASES if found else 0):
            case = completed(program, random_case(program, 1000 * seed + number), rng)
            whole = lines(program, case)
            for message, less in judged:
                true = lines(less, case) == whole if less else holds_true(message, program, case)
                assert true, (seed, number, message.text)
    assert set(seen) == {"KN410", "KN413", "KN414", "KN415", "KN416"}
