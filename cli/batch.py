"""`knockon batch`: the plans of many cases, one JSON line each."""

from __future__ import annotations

import hashlib
import sys
from contextlib import closing
from pathlib import Path
from typing import Annotated, Any

import typer

from ..engine.load.pack import load_program
from ..engine.model.outcome import POSSIBLE, PROVISIONAL
from ..engine.model.program import Program
from ..engine.plan.build import evidence_of, plan_of
from ..engine.plan.progress import line_id, progress
from ..engine.render.plain import clean
from ..engine.render.plan_json import plan_data
from ..engine.review.batch import OK, Job, Work, run_cases
from ..engine.review.cases import Item, body_of_cases, case_of, read_item
from ..engine.review.results import ResultsFile
from .inputs import PackDirs
from .stack import (
    CORES,
    MEMORY_MB,
    SECONDS,
    CasesPath,
    MemoryMB,
    Seconds,
    Workers,
    end_tick,
    pack_folders,
    ticker,
)

MOST_NAMED = 10


def batch(
    cases: CasesPath,
    out: Annotated[Path, typer.Option(metavar="FILE", help="Where the results go, one JSON line a case.")],
    pack: PackDirs = None,
    whole: Annotated[bool, typer.Option("--whole", help="Whole plans, not their lines in short.")] = False,
    resume: Annotated[bool, typer.Option("--resume", help="Go on where a run stopped.")] = False,
    workers: Workers = CORES,
    memory: MemoryMB = MEMORY_MB,
    seconds: Seconds = SECONDS,
) -> None:
    """Plan many cases; a bad one is named, counted and left out, and never stops the rest.

    Example: knockon batch cases.jsonl --out plans.jsonl

    Exits with 1 when some cases could not be planned.
    """
    folders = [*pack_folders(None), *(pack or [])]
    run = _run_id(load_program(folders), whole)
    items = iter(body_of_cases(cases))
    job = Job(plan_work, (tuple(map(str, folders)), run, whole), memory << 20, seconds)
    named, tick = [], ticker("batch")
    with ResultsFile(out, run, resume) as results:
        done, bad = already, _ = results.done, results.bad
        with closing(run_cases(results.rest(items), job, workers=workers)) as stream:
            for result in stream:
                results.write(result)
                done, bad = done + 1, bad + (result.state != OK)
                named += [result] if result.state != OK and len(named) < MOST_NAMED else []
                tick(done, bad)
    end_tick()
    went_on = f" ({already:,} were done before)" if already else ""
    sys.stdout.write(f"{done:,} cases{went_on}: {bad:,} could not be planned; results in {out}\n")
    for result in named:
        sys.stderr.write(clean(f"{result.at}: {result.state}: {result.value.get('why', '')}") + "\n")
    if bad:
        raise typer.Exit(1)


def _run_id(program: Program, whole: bool) -> str:
    """Short name of everything that decides the results but the cases themselves."""
    parts = [*(p.sha256 for p in program.packs), "whole" if whole else "short"]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:12]


def plan_work(folders: tuple[str, ...], run: str, whole: bool) -> Work:
    """For a Job: the plan of each case, whole or in short. ValueError when the packs have changed."""
    program = load_program([Path(folder) for folder in folders])
    if _run_id(program, whole) != run:
        raise ValueError("the packs in these folders changed while the run was under way")

    def work(item: Item) -> dict[str, Any]:
        evidence = evidence_of(program, case_of(read_item(item), program))
        if whole:
            return {"case": evidence.case.id, "plan": plan_data(plan_of(evidence, with_questions=False))}
        levels = [int(r.subject) for r in evidence.outcome[PROVISIONAL].made if r.kind == "severity"]
        lines = {
            line_id(key): [line.strength, line.standing, progress(evidence, key).state]
            for key, line in evidence.found.lines.items()
            if line.standing != POSSIBLE
        }
        about = {"case": evidence.case.id, "date": evidence.case.date, "severity": max(levels, default=0)}
        return {**about, "lines": lines}

    return work
