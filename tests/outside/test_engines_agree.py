"""Three engines, one meaning: the rules engine, the independent check and CLIPS fire the same matches.

100 random packs with 200 random cases each, in three passes, and a part of them in every ordinary run; compared are
the sets of firings with the records they matched, and the records they made.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import pytest
from clips_engine import ClipsEngine
from knockon.engine.infer.certify import fixpoints
from knockon.engine.infer.rules_engine import RulesEngine, core
from knockon.engine.load.scenario import scenario_case
from knockon.engine.model.case import Case
from knockon.engine.model.outcome import FIRM, POSSIBLE
from knockon.engine.model.program import Program
from random_cases import opened, random_case
from random_packs import random_program

PACKS, CASES = 100, 200
SIZES = (3, 5, 8, 10, 12)
LARGE = 40  # rules of one pack in 25


def program_of(seed: int) -> Program:
    """The pack of a seed: mostly small ones, where a case costs little and odd combinations are dense."""
    return random_program(seed, LARGE if seed % 25 == 24 else SIZES[seed % len(SIZES)])


def compare(seed: int, cases: int) -> tuple[list[str], Counter[str]]:
    """Run one pack; what the engines disagree on, and how much there was to agree on."""
    program = program_of(seed)
    drawn = (random_case(program, 1000 * seed + number) for number in range(cases))
    wrong, seen = run_all(program, drawn, f"pack {seed}")
    seen["cases"] = cases
    seen[f"{program.strata} strata"] += 1
    return wrong, seen


def run_all(program: Program, cases: Iterable[Case], name: str) -> tuple[list[str], Counter[str]]:
    """All three engines over some cases of one program."""
    clips, rules = ClipsEngine(program), RulesEngine(program) if core() else None
    wrong: list[str] = []
    seen: Counter[str] = Counter()
    for case in cases:
        slow, third = fixpoints(program, case), clips.run(case)
        fast = rules.fixpoints(case) if rules else slow
        part = RulesEngine(program, case).fixpoints(case) if rules else slow
        for standing, fixpoint in slow.items():
            firings = set(fixpoint.firings)
            seen["firings"] += len(firings)
            seen.update(r.kind for f in firings for r in f.records)
            seen.update(r.kind for r in fixpoint.made)
            if firings != set(fast[standing].firings) or fixpoint.made != fast[standing].made:
                wrong.append(f"{name}, {case.id}, {standing}: check and rules engine")
            if (set(part[standing].firings), part[standing].made) != (firings, fixpoint.made):
                wrong.append(f"{name}, {case.id}, {standing}: check and rules engine of what can fire")
            if (firings, set(fixpoint.made)) != third[standing]:
                wrong.append(f"{name}, {case.id}, {standing}: check and CLIPS")
        seen["passes apart"] += set(slow[FIRM].firings) != set(slow[POSSIBLE].firings)
        seen["not within"] += not set(slow[FIRM].firings) <= set(slow[POSSIBLE].firings)
    return wrong, seen


@pytest.mark.slow
@pytest.mark.parametrize(("packs", "cases"), [(25, 40), pytest.param(PACKS, CASES, marks=pytest.mark.long)])
def test_three_engines_fire_the_same_matches(packs: int, cases: int) -> None:
    seen: Counter[str] = Counter()
    wrong: list[str] = []
    with ProcessPoolExecutor(2) as pool:
        for found, counted in pool.map(partial(compare, cases=cases), range(packs), chunksize=1):
            wrong += found
            seen += counted
    assert wrong == []
    count = packs * cases
    assert seen["cases"] == count
    # the comparison means something: there was much to agree on, of every kind of record and effect
    assert seen["firings"] > 15 * count
    assert seen["passes apart"] > 0.4 * count
    assert seen["not within"] == 0
    for kind in ("fact", "fitted", "touched", "damaged", "derived", "severity", "planned", "result", "code"):
        assert seen[kind] > 0.01 * count, kind
    assert min(seen[k] for k in ("procedure", "hold", "drop", "void", "3 strata")) > 0


@pytest.mark.slow
def test_three_engines_agree_on_the_built_in_packs(program: Program) -> None:
    """Its own scenarios, as they are and with part of the answers taken back."""
    rng = random.Random("built in")
    given = [scenario_case(s, program) for s in rng.sample(program.scenarios, 30)]
    given += [opened(program, case, rng, rng.choice((0.02, 0.2, 0.9))) for case in given]
    wrong, seen = run_all(program, given, "built-in packs")
    assert wrong == []
    assert seen["firings"] > 3_000
