"""How long it takes to prove every promise of a stack, and to find the smallest case against a broken one.

python tests/benchmarks/promise.py
"""

from __future__ import annotations

import time
from collections.abc import Callable

from knockon.engine.load.cache import built_in_folders
from knockon.engine.load.pack import load_program
from knockon.engine.model.record import replace
from knockon.engine.review.promise import PROVED, REFUTED, prove

MOST_SECONDS = 60.0


def seconds(job: Callable[[], object]) -> float:
    """Processor time of one run."""
    start = time.process_time()
    job()
    return time.process_time() - start


def main() -> int:
    """Print the times; 1 when a stack takes more than a minute or a verdict is not as expected."""
    good, slowest = True, 0.0
    for size in range(1, len(built_in_folders()) + 1):
        program = load_program(built_in_folders()[:size])
        found: list[str] = []
        took = seconds(lambda p=program, f=found: f.extend(v.state for v in prove(p, p.promises)))
        good, slowest = good and set(found) == {PROVED}, max(slowest, took)
        print(f"{size} packs, {len(found)} promises, {len(program.alternatives)} alternatives: {took:.2f} s")
    base = load_program(built_in_folders()[:1])
    scans = replace(base, alternatives=tuple(a for a in base.alternatives if a.rule.id != "R003"))
    broken = [p for p in base.promises if p.rule.id == "P001"]
    states: list[str] = []
    took = seconds(lambda: states.extend(v.state for v in prove(scans, broken)))
    print(f"smallest case against a broken promise, confirmed by the engines: {took:.2f} s")
    return 0 if good and states == [REFUTED] and slowest <= MOST_SECONDS else 1


if __name__ == "__main__":
    raise SystemExit(main())
