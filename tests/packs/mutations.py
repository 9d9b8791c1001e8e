"""Mutation check of the base pack: each rule weakened in one place, and who notices, a scenario or a promise.

Run by hand: `python tests/packs/mutations.py [--sample N]`. A mutant drops one condition, one alternative of
an `any`, one `unless` or one effect, or weakens the strength by one step. It is caught when a scenario no
longer gets what it states, or a promise can be broken. Mutants the loader would refuse are not counted, nor
is a strength that no line can show.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache

from knockon.engine.infer.certify import fixpoints
from knockon.engine.infer.check import World, effects, matches
from knockon.engine.infer.lacking import settled
from knockon.engine.infer.lines import Found, find_lines
from knockon.engine.load.cache import built_in_folders
from knockon.engine.load.link import is_record
from knockon.engine.load.log import split_line_id
from knockon.engine.load.pack import load_program
from knockon.engine.load.promises import promise_alternatives
from knockon.engine.load.rules import expand, variables
from knockon.engine.load.scenario import scenario_case
from knockon.engine.load.strata import made, read
from knockon.engine.model.case import Case
from knockon.engine.model.outcome import BIT, POSSIBLE, PROVISIONAL, STANDINGS, Fixpoint, Outcome, Record
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.model.rule import INHERITED, STRENGTHS, Alternative, Rule, Scenario
from knockon.engine.review.asp import Translation
from knockon.engine.review.domains import domains, patterns

RESTS_ON = ("derived", "severity", "planned")


@dataclass(frozen=True)
class Mutant:
    """A rule with one change."""

    rule: Rule
    change: str

    @property
    def name(self) -> str:
        """What was done to which rule."""
        return f"{self.rule.id} {self.change}"


def mutants(program: Program) -> list[Mutant]:
    """Every single change of every active rule that still makes a rule."""
    return [
        Mutant(rule, change)
        for original in program.rules.values()
        if original.status == "active"
        for change, rule in (*_changes(original), *_weaker(original, program))
        if _sound(rule)
    ]


def _changes(rule: Rule) -> Iterator[tuple[str, Rule]]:
    for i, item in enumerate(rule.when):
        rest = (rule.when[:i], rule.when[i + 1 :])
        if not isinstance(item, tuple):
            yield f"without when {i + 1} ({item.kind})", replace(rule, when=(*rest[0], *rest[1]))
            continue
        yield f"without when {i + 1} (any)", replace(rule, when=(*rest[0], *rest[1]))
        for j, choice in enumerate(item):
            others = (*item[:j], *item[j + 1 :])
            if others:
                yield (
                    f"without when {i + 1}.{j + 1} (one alternative)",
                    replace(rule, when=(*rest[0], others, *rest[1])),
                )
            for k in range(len(choice) if len(choice) > 1 else 0):
                shorter = (*item[:j], (*choice[:k], *choice[k + 1 :]), *item[j + 1 :])
                text = f"without when {i + 1}.{j + 1}.{k + 1} ({choice[k].kind})"
                yield text, replace(rule, when=(*rest[0], shorter, *rest[1]))
    for i in range(len(rule.unless)):
        yield f"without unless {i + 1}", replace(rule, unless=(*rule.unless[:i], *rule.unless[i + 1 :]))
    for i, effect in enumerate(rule.then):
        for subject in effect.subjects:
            left = tuple(s for s in effect.subjects if s != subject)
            then = (*rule.then[:i], *([replace(effect, subjects=left)] if left else []), *rule.then[i + 1 :])
            yield f"without {effect.verb} {subject}", replace(rule, then=then)


def _weaker(rule: Rule, program: Program) -> Iterator[tuple[str, Rule]]:
    """One step weaker, where a line can show it.

    What is held, dropped or void has no strength, a conclusion has one only where it is inherited.
    """
    steps = {"required": "unless_procedure", "unless_procedure": "check_whether", INHERITED: "check_whether"}
    inherited = {
        node for a in program.alternatives if a.rule.strength == INHERITED for node, _ in read(a.records)
    }
    makes = [node for a in program.alternatives if a.rule.id == rule.id for node in made(a)]
    if rule.strength in steps and any(node[0] == "planned" or node in inherited for node in makes):
        yield f"as {steps[rule.strength]}", replace(rule, strength=steps[rule.strength])


def _sound(rule: Rule) -> bool:
    """Whether the loader would take it: something follows, names are bound, a strength can be inherited."""
    for choice in expand(rule):
        used = {v for e in rule.then for v in (*e.subjects, e.place) if v.startswith("$")}
        if not used <= variables(choice):
            return False
        if rule.strength == INHERITED and not any(p.kind in RESTS_ON for p in choice):
            return False
    return bool(rule.then)


def with_rule(program: Program, rule: Rule) -> Program:
    """The program with one rule changed."""
    old = [a for a in program.alternatives if a.rule.id == rule.id]
    stratum = max(a.stratum for a in old)
    new = []
    for i, choice in enumerate(expand(rule)):
        ground = tuple(p for p in choice if not is_record(p, frozenset()))
        records = tuple(p for p in choice if is_record(p, frozenset()))
        new.append(Alternative(f"{rule.id}#{i}", rule, ground, records, rule.unless, rule.then, stratum))
    others = [a for a in program.alternatives if a.rule.id != rule.id]
    return replace(program, alternatives=(*others, *new), rules={**program.rules, rule.id: rule})


@dataclass
class Trial:
    """One scenario of the unchanged program: its case and its fixpoints."""

    scenario: Scenario
    case: Case
    world: World
    strengths: dict[str, dict[Record, str]]


def trials(program: Program) -> list[Trial]:
    """All scenarios, inferred by the independent check."""
    found = []
    for scenario in program.scenarios:
        case = scenario_case(scenario, program)
        passes = fixpoints(program, case)
        outcome = Outcome(passes, ("independent check",))
        lines = find_lines(program, case, outcome)
        strengths = {s: dict(lines.strengths[s].records) for s in STANDINGS}
        found.append(Trial(scenario, case, settled(program, case, outcome), strengths))
    return found


def _makes(
    alternatives: Sequence[Alternative], trial: Trial, program: Program
) -> set[tuple[str, Record, str]]:
    """What some alternatives make in the unchanged fixpoints, and how strong."""
    made = set()
    for a in alternatives:
        for firing, bound, mask in matches(a, trial.world):
            for standing in (s for s in STANDINGS if mask & BIT[s]):
                links = [trial.strengths[standing][r] for r in firing.records if r.kind in RESTS_ON]
                strength = (
                    min(links, key=STRENGTHS.index) if a.rule.strength == INHERITED else a.rule.strength
                )
                made |= {
                    (standing, record, strength) for record in effects(a, tuple(bound.values()), trial.world)
                }
    return made


def noticed(trial: Trial, program: Program) -> bool:
    """Whether a scenario states something the program no longer gives."""
    passes = fixpoints(program, trial.case)
    found = find_lines(program, trial.case, Outcome(passes, ("independent check",)))
    return any(True for _ in _missed(trial.scenario, passes, program, found))


def _missed(s: Scenario, passes: dict[str, Fixpoint], program: Program, found: Found) -> Iterator[str]:
    lines = {k: line for k, line in found.lines.items() if line.standing != POSSIBLE}
    makers = found.strengths[PROVISIONAL].makers
    fired = {f.alternative.partition("#")[0] for f in passes[PROVISIONAL].firings}
    yield from (r for r in s.fires if r not in fired)
    yield from (r for r in s.nearly if r in fired)
    for id_, strength in s.must.items():
        line = lines.get(split_line_id(id_))
        if line is None or (strength and line.strength != strength):
            yield id_
    for id_ in s.must_not:
        operation, place = split_line_id(id_)
        yield from (o for o, p in lines if o == operation and place in ("", p))
    for kind, wanted in (("hold", s.held), ("void", s.void)):
        for id_, rule in wanted.items():
            operation, place = split_line_id(id_)
            by = [
                f
                for r, fs in makers.items()
                if (r.kind, r.subject) == (kind, operation) and place in ("", r.place)
                for f in fs
            ]
            if not any(f.alternative.partition("#")[0] == rule for f in by):
                yield id_
    if s.severity is not None and s.severity != max(
        (int(r.subject) for r in makers if r.kind == "severity"), default=0
    ):
        yield "severity"
    if s.plan_is:
        always = {r.id for r in program.rules.values() if not r.when and not r.unless}
        want = {o: strength for strength, listed in s.plan_is.items() for o in listed}
        got: dict[str, str] = {}
        for (operation, _), line in lines.items():
            rules = {f.alternative.partition("#")[0] for f in line.firings}
            if operation in want or not rules & always:
                got[operation] = max(line.strength, got.get(operation, STRENGTHS[0]), key=STRENGTHS.index)
        if want != got:
            yield "plan"


def breakable(program: Program) -> bool:
    """Whether some case breaks some promise."""
    import clingo

    spoken = [(p, promise_alternatives(p, program)) for p in program.promises]
    text = Translation(program, domains(program, patterns(a for _, found in spoken for a in found)))
    for promise, found in spoken:
        text.promise(promise.rule.id, found, promise.claims)
    control = clingo.Control(["--opt-mode=ignore"], logger=lambda *_: None)
    control.add("base", [], text.text + "\nsome :- broken(_). :- not some.")
    control.ground([("base", [])])
    return bool(control.solve().satisfiable)


@cache
def _ground() -> tuple[Program, list[Trial], list[Mutant]]:
    """Made once and inherited by the workers: a world knows the patterns it was asked by their identity."""
    program = load_program(built_in_folders()[:1])
    return program, trials(program), mutants(program)


def judge(number: int) -> str:
    """Who catches a mutant: `scenario`, `promise` or nobody ('')."""
    program, every, listed = _ground()
    mutant = listed[number]
    changed = with_rule(program, mutant.rule)
    old = [a for a in program.alternatives if a.rule.id == mutant.rule.id]
    new = [a for a in changed.alternatives if a.rule.id == mutant.rule.id]
    near = sorted(every, key=lambda t: mutant.rule.id not in (*t.scenario.fires, *t.scenario.nearly))
    for trial in near:
        moved = _fires(old, trial) != _fires(new, trial)
        moved = moved or _makes(old, trial, program) != _makes(new, trial, program)
        if moved and noticed(trial, changed):
            return "scenario"
    return "promise" if breakable(changed) else ""


def _fires(alternatives: Sequence[Alternative], trial: Trial) -> bool:
    return any(mask & BIT[PROVISIONAL] for a in alternatives for _, _, mask in matches(a, trial.world))


def check(sample: int = 0, seed: int = 0, workers: int = 2) -> dict[str, list[str]]:
    """Judge all mutants, or a random sample; names of mutants by who caught them."""
    listed = _ground()[2]
    chosen = list(range(len(listed)))
    if sample:
        chosen = random.Random(seed).sample(chosen, min(sample, len(chosen)))
    caught: dict[str, list[str]] = {"scenario": [], "promise": [], "": []}
    with ProcessPoolExecutor(workers) as pool:
        for number, by in zip(chosen, pool.map(judge, chosen, chunksize=8), strict=True):
            caught[by].append(listed[number].name)
    return caught


def main() -> int:
    """Print the share caught and every survivor; 1 when it is below 95 %."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--sample", type=int, default=0)
    caught = check(parser.parse_args().sample)
    total = sum(map(len, caught.values()))
    share = 100 * (total - len(caught[""])) / total
    by_scenario, by_promise, alive = (len(caught[by]) for by in ("scenario", "promise", ""))
    print(f"{total} mutants: {by_scenario} caught by a scenario, {by_promise} by a promise")
    print(f"{share:.1f} % caught, {alive} survive")
    print(*(f"  {name}" for name in caught[""]), sep="\n")
    return 0 if share >= 95 else 1


if __name__ == "__main__":
    sys.exit(main())
