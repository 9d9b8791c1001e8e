"""Engines side by side on the same synthetic packs and cases: how cost grows with rules, facts and firings.

    python tests/benchmarks/engines.py [--cases 200] [--rules 150 400 1000]

Every engine has to find the same firings. Times are processor time of this process; read the ratios.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

from generated import generate
from knockon.engine.infer.certify import certify, fixpoints
from knockon.engine.infer.rules_engine import RulesEngine
from knockon.engine.model.case import Case
from knockon.engine.model.outcome import FIRM
from knockon.engine.model.program import Program
from workload import cases, workload

sys.path.insert(0, str(Path(__file__).parents[1] / "outside"))
from clips_engine import ClipsEngine

Job = Callable[[Case], object]


def median_and_p99(job: Job, given: list[Case]) -> tuple[float, float]:
    """Milliseconds of a case, best of three rounds each, so that what else the machine does shows less."""
    rounds = []
    for _ in range(3):
        times = []
        for case in given:
            start = time.process_time()
            job(case)
            times.append(1000 * (time.process_time() - start))
        rounds.append(times)
    best = [min(t) for t in zip(*rounds, strict=True)]
    return statistics.median(best), statistics.quantiles(best, n=100)[98]


def compare(rules: int, count: int) -> None:
    """One table: a pack of so many rules."""
    program, given = workload(rules), list(cases(count))
    engine, clips, python = RulesEngine(program), ClipsEngine(program), generate(program)
    found = {case.id: engine.fixpoints(case) for case in given}
    for case in given:
        fired = set(found[case.id][FIRM].firings)
        assert (
            fired == python(case) == set(fixpoints(program, case)[FIRM].firings) == clips.run(case)[FIRM][0]
        )
    share = statistics.mean(len({f.alternative for f in p[FIRM].firings}) for p in found.values()) / rules
    rows: dict[str, Job] = {
        "rules engine": engine.fixpoints,
        "its check": lambda case: certify(program, case, found[case.id]),
        "check alone, to the fixpoint": lambda case: fixpoints(program, case),
        "CLIPS through clipspy (three passes)": clips.run,
        "generated Python (one pass)": python,
    }
    sys.stdout.write(f"\n{rules} rules, {count} cases, {share:.0%} of the rules fire\n")
    unit = 0.0
    for name, job in rows.items():
        median, p99 = median_and_p99(job, given)
        unit = unit or median
        sys.stdout.write(f"  {name:40}{median:8.2f} ms{p99:8.2f} ms{median / unit:8.2f}\n")


def growth(count: int) -> None:
    """What the rules engine with its check costs as rules, facts and firings grow, one at a time."""
    sys.stdout.write("\nrules engine and its check as one thing grows\n")
    unit = 0.0
    for rules, touched, tests in (
        (400, 8, 3),
        (800, 8, 3),
        (1600, 8, 3),
        (400, 20, 3),
        (400, 40, 3),
        (400, 8, 2),
        (400, 8, 1),
    ):
        program, given = workload(rules, tests), list(cases(count, touched))
        engine = RulesEngine(program)
        found = {case.id: engine.fixpoints(case) for case in given}
        fired = statistics.mean(len(p[FIRM].firings) for p in found.values())

        def both(case: Case, program: Program = program, engine: RulesEngine = engine) -> None:
            certify(program, case, engine.fixpoints(case))

        median, _ = median_and_p99(both, given)
        unit = unit or median
        what = f"{rules} rules, {touched} parts touched, {fired:.0f} firings"
        sys.stdout.write(f"  {what:52}{median:8.2f} ms{median / unit:8.2f}\n")


def main() -> None:
    """Print a table for each size."""
    parser = argparse.ArgumentParser(description="engines side by side")
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--rules", type=int, nargs="+", default=[150, 400, 1000])
    given = parser.parse_args()
    for rules in given.rules:
        compare(rules, given.cases)
    growth(given.cases)


if __name__ == "__main__":
    main()
