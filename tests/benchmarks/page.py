"""How long the page of a plan of about 100 lines takes and how large it is; fails past its limits.

    python tests/benchmarks/page.py

The first page pays for the template engine; both it and a later one are given, and beside them the whole
command for the plan as text, which the first page has to stay well under.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.cache import built_in_folders
from knockon.engine.load.case import load_case
from knockon.engine.load.pack import load_program
from knockon.engine.plan.build import evidence_of, plan_of

CASE = Path(__file__).parents[2] / "examples" / "mostly-unknown" / "case.yaml"
MOST_BYTES, MOST_SECONDS, SHARE_OF_START = 500_000, 0.5, 0.5


def seconds(what: Callable[[], object]) -> float:
    """The time a call takes."""
    begun = time.perf_counter()
    what()
    return time.perf_counter() - begun


def main() -> int:
    """Measure, print, and say by the exit code whether the limits hold."""
    program = load_program(built_in_folders())
    plan = plan_of(evidence_of(program, load_case(CASE, program, Messages())), with_considered=True)

    def page() -> str:
        from knockon.engine.render.html import plan_html

        return plan_html(plan, program)

    first, later = seconds(page), min(seconds(page) for _ in range(5))
    size = len(page().encode("utf-8"))
    command = [sys.executable, "-c", "from knockon.cli.app import main; main()", "plan", str(CASE)]
    start = seconds(
        lambda: subprocess.run(command, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    )
    planned = sum(line.standing != "possible" for line in plan.lines)
    print(f"{len(plan.lines)} lines ({planned} planned), {len(plan.questions)} questions")
    print(f"first page {first * 1000:.0f} ms, later pages {later * 1000:.0f} ms, {size / 1000:.0f} kB")
    print(f"the text plan as a command {start * 1000:.0f} ms")
    ok = size < MOST_BYTES and first < max(MOST_SECONDS, start * SHARE_OF_START)
    print("within the limits" if ok else f"past the limits ({MOST_BYTES} bytes, {MOST_SECONDS} s)")
    return 0 if ok else 1


if __name__ == "__main__":
    raise SystemExit(main())
