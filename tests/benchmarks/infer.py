"""How long inference takes, beside what it could be compared with, and whether memory stays flat.

    python tests/benchmarks/infer.py [--cases 50000] [--synthetic 200000] [--timed 300] [--seed 1]

Times are processor time of this process, so that a busy machine shifts them less; read the ratios.
"""

from __future__ import annotations

import argparse
import gc
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from itertools import cycle, islice
from pathlib import Path
from typing import Any

import workload
from cases import generate
from knockon.engine.diagnostics.message import Messages
from knockon.engine.explain.facts import Evidence
from knockon.engine.infer.certify import certify, fixpoints
from knockon.engine.infer.lines import find_lines
from knockon.engine.infer.rules_engine import RulesEngine
from knockon.engine.infer.run import infer
from knockon.engine.load.cache import built_in_folders
from knockon.engine.load.case import build_case
from knockon.engine.load.pack import load_program
from knockon.engine.load.tree import Tree, parse_tree
from knockon.engine.load.validate import validate
from knockon.engine.measure.standing import settle
from knockon.engine.model.case import Case, State
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.plan.build import evidence_of, plan_of
from knockon.engine.render.plain import Page
from knockon.engine.render.text import plan_text

TOP = Path(__file__).parents[2]
EXAMPLE = TOP / "examples" / "front-corner" / "case.yaml"
FLAT = 0.05
PAGE = resource.getpagesize()


def cases(program: Program, count: int, seed: int) -> list[Case]:
    """Generated cases: some hardly answered, some fully."""
    return [
        build_case(Tree("drawn", document), program, Messages())
        for document in generate(program, count, seed)
    ]


def timed(
    job: Callable[[Any], object], given: Iterable[Case], ready: Callable[[Case], object] = lambda case: case
) -> list[float]:
    """Milliseconds of each case, without what makes it ready; an untimed round fills the caches a batch would have.

    Nothing is kept from case to case, as in a batch: what is kept, the interpreter's search for garbage looks through
    again and again.
    """
    given = list(given)
    for case in given[:5]:
        job(ready(case))
    found = []
    for case in given:
        prepared = ready(case)
        start = time.process_time()
        job(prepared)
        found.append(1000 * (time.process_time() - start))
    return found


def show(name: str, times: list[float], unit: float) -> None:
    """One row: median, 99th percentile, and the median against the unit."""
    p99 = statistics.quantiles(times, n=100)[98]
    median = statistics.median(times)
    sys.stdout.write(f"{name:58}{median:9.2f} ms{p99:10.2f} ms{median / unit:8.2f}\n")


def speed(program: Program, given: list[Case]) -> None:
    """Inference against its parts and against a general-purpose engine, on the same cases."""
    sys.path.insert(0, str(TOP / "tests" / "outside"))
    from clips_engine import ClipsEngine

    engine, clips = RulesEngine(program), ClipsEngine(program)

    rows: dict[str, tuple[Any, ...]] = {
        "inference: three passes and the check": (lambda case: infer(program, case), given),
        "  rules engine": (engine.fixpoints, given),
        "  its check": (
            lambda found: certify(program, *found),
            given,
            lambda case: (case, engine.fixpoints(case)),
        ),
        "the same with every unknown taken as assumed": (
            lambda case: infer(program, case),
            given,
            as_assumed,
        ),
        "check alone, iterating to the fixpoint": (lambda case: fixpoints(program, case), given),
        "CLIPS through clipspy, three passes, not checked": (clips.run, given),
    }
    times = {name: timed(*row) for name, row in rows.items()}
    unit = statistics.median(next(iter(times.values())))
    sys.stdout.write(
        f"\n{len(given)} cases, {len(program.alternatives)} alternatives{'':23}median          p99   ratio\n"
    )
    for name, each in times.items():
        show(name, each, unit)


def as_assumed(case: Case) -> Case:
    """The case as if everything assumed were known: one reading, and so one pass."""
    return replace(case, slots={slot: State(state.value) for slot, state in case.slots.items()})


def stages(program: Program) -> None:
    """Where the time of `knockon plan` goes once the packs are read: from the text of a case to the text of its plan."""
    text, name = EXAMPLE.read_text("utf-8"), str(EXAMPLE)
    tree = parse_tree(text, name, Messages())
    assert tree is not None
    case = settle(build_case(tree, program, Messages()), program)
    evidence = evidence_of(program, case)
    plan = plan_of(evidence)
    jobs: dict[str, Callable[[], object]] = {
        "read the YAML": lambda: parse_tree(text, name, Messages()),
        "check its form": lambda: validate(tree, "case", Messages()),
        "build the case": lambda: build_case(tree, program, Messages()),
        "infer and check": lambda: infer(program, case),
        "find the lines": lambda: find_lines(program, case, evidence.outcome),
        "explain, order, ask": lambda: plan_of(Evidence(program, case, evidence.outcome, evidence.found)),
        "write the text": lambda: plan_text(plan, program, Page()),
    }
    sys.stdout.write(f"\n{EXAMPLE.parent.name}: {len(plan.lines)} lines, from text to text\n")
    total = 0.0
    for title, job in jobs.items():
        median = statistics.median(timed(lambda _, job=job: job(), [case] * 40))  # type: ignore[misc]
        total += median
        sys.stdout.write(f"  {title:56}{median:9.2f} ms\n")
    sys.stdout.write(f"  {'together':56}{total:9.2f} ms\n")


def resident() -> int:
    """Resident memory of this process."""
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * PAGE


def memory(program: Program, given: list[Case], count: int) -> bool:
    """Whether memory after many cases is what it was after the first tenth."""
    first = max(count // 10, 1)
    for case in islice(cycle(given), first):
        infer(program, case)
    gc.collect()
    before = resident()
    for case in islice(cycle(given), count - first):
        infer(program, case)
    gc.collect()
    growth = resident() / before - 1
    sys.stdout.write(
        f"\nresident memory, {program.packs[0].name}: {before / 2**20:.1f} MB after {first:,} cases, "
    )
    sys.stdout.write(f"{100 * growth:+.1f} % after {count:,} (flat within {100 * FLAT:.0f} %)\n")
    return growth <= FLAT


def cold_start() -> None:
    """One whole command against starting Python and doing nothing."""

    def median(*command: str) -> float:
        found = []
        for _ in range(7):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run([sys.executable, *command], check=False, capture_output=True)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            found.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        return 1000 * statistics.median(found)

    bare = median("-c", "pass")
    plan = median("-c", "from knockon.cli.app import main; main()", "plan", str(EXAMPLE))
    sys.stdout.write(
        f"\n`knockon plan` from cold: {plan:.0f} ms, {plan / bare:.1f} times a bare Python ({bare:.0f} ms)\n"
    )


def main() -> int:
    """Run all; 1 when memory grew."""
    parser = argparse.ArgumentParser(description="inference and plans: speed, memory, cold start")
    parser.add_argument(
        "--cases", type=int, default=50_000, help="how many cases for the memory test (0: leave out)"
    )
    parser.add_argument(
        "--synthetic", type=int, default=200_000, help="the same with the synthetic pack (0: leave out)"
    )
    parser.add_argument("--timed", type=int, default=300, help="how many cases are timed")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    program = load_program(built_in_folders())
    given = cases(program, max(asked.timed, 100), asked.seed)
    gc.freeze()  # as a worker of `batch` does
    speed(program, given)
    stages(program)
    cold_start()
    flat = asked.cases == 0 or memory(program, given, asked.cases)
    if asked.synthetic:
        flat &= memory(workload.workload(150), list(workload.cases(500)), asked.synthetic)
    return 0 if flat else 1


if __name__ == "__main__":
    sys.exit(main())
