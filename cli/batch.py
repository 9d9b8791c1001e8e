"""`knockon batch`: the plans of many cases, one JSON line each."""

from __future__ import annotations

import hashlib
import os
import sys
from contextlib import closing
from pathlib import Path
from typing import Annotated, Any

import typer

from ..engine.explain.facts import Evidence
from ..engine.load.cache import program_of
from ..engine.model.outcome import POSSIBLE, PROVISIONAL
from ..engine.model.program import Program
from ..engine.model.version import VERSION
from ..engine.plan.build import evidence_of, plan_of
from ..engine.plan.progress import line_id, progress
from ..engine.render.plain import clean
from ..engine.render.plan_json import plan_data
from ..engine.review.batch import OK, Job, Result, Work
from ..engine.review.cases import Item, case_of, read_item
from ..engine.review.results import ResultsFile
from . import stack
from .files import refuse_same, replaced
from .options import PackDirs

MOST_NAMED = 10


def batch(
    cases: stack.CasesPath,
    out: Annotated[Path, typer.Option(metavar="FILE", help="Where the results go, one JSON line a case.")],
    pack: PackDirs = None,
    whole: Annotated[bool, typer.Option("--whole", help="Whole plans, not their lines in short.")] = False,
    resume: Annotated[bool, typer.Option("--resume", help="Go on where a run stopped.")] = False,
    parquet: Annotated[Path | None, typer.Option(metavar="FILE", help="Then the lines as Parquet.")] = None,
    scheduler: stack.Scheduler = "",
    workers: stack.Workers = stack.CORES,
    memory: stack.MemoryMB = stack.MEMORY_MB,
    seconds: stack.Seconds = stack.SECONDS,
) -> None:
    """Plan many cases; a bad one is named, counted and left out, and never stops the rest.

    Example: knockon batch cases.jsonl --out plans.jsonl

    Exits with 1 when some cases could not be planned.
    """
    refuse_same(out, cases)
    if parquet:
        refuse_same(parquet, cases, out)
    folders = [*stack.pack_folders(None), *(pack or [])]
    run = _run_id(program_of(folders), whole)
    job = Job(plan_work, (tuple(os.path.realpath(f) for f in folders), run, whole), memory << 20, seconds)
    items = stack.cases_at(cases, scheduler)
    named: list[Result] = []
    tick = stack.ticker("batch")
    with ResultsFile(out, run, resume) as results:
        before, done, bad = results.done, results.done, results.bad
        with closing(stack.run_everywhere(results.rest(items), job, workers, scheduler)) as stream:
            for result in stream:
                results.write(result)
                done, bad = done + 1, bad + (result.state != OK)
                named += [result] if result.state != OK and len(named) < MOST_NAMED else []
                tick(done, bad)
    stack.end_tick()
    went_on = f" ({before:,} were done before)" if before else ""
    said = f"{done:,} cases{went_on}: {bad:,} could not be planned; results in {out}\n"
    sys.stdout.write(clean(said))
    for result in named:
        sys.stderr.write(clean(f"{result.at}: {result.state}: {result.value.get('why', '')}") + "\n")
    if parquet:
        sys.stdout.write(clean(f"{_table(out, parquet):,} lines in {parquet}\n"))
    if bad:
        raise typer.Exit(1)


def _table(results: Path, parquet: Path) -> int:
    from ..engine.review.parquet import write_parquet

    with replaced(parquet) as temporary:
        return write_parquet(results, temporary)


def _run_id(program: Program, whole: bool) -> str:
    """Short name of everything that decides the results but the cases themselves."""
    parts = [VERSION, *(p.sha256 for p in program.packs), "whole" if whole else "short"]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:12]


def plan_work(folders: tuple[str, ...], run: str, whole: bool) -> Work:
    """For a Job: the plan of each case, whole or in short. ValueError when the packs have changed."""
    program = program_of([Path(folder) for folder in folders])
    if _run_id(program, whole) != run:
        raise ValueError("the packs in these folders changed while the run was under way")

    rule_of = {alternative.id: alternative.rule.id for alternative in program.alternatives}

    def work(item: Item) -> dict[str, Any]:
        evidence = evidence_of(program, case_of(read_item(item), program))
        if whole:
            return {"case": evidence.case.id, "plan": plan_data(plan_of(evidence, with_questions=False))}
        return _in_short(evidence, rule_of)

    return work


def _in_short(evidence: Evidence, rule_of: dict[str, str]) -> dict[str, Any]:
    """The lines that are planned, the rules that ask for them, and how many engines evaluated it."""
    levels = [int(r.subject) for r in evidence.outcome[PROVISIONAL].made if r.kind == "severity"]
    planned = {k: line for k, line in evidence.found.lines.items() if line.standing != POSSIBLE}
    return {
        "case": evidence.case.id,
        "date": evidence.case.date,
        "severity": max(levels, default=0),
        "engines": len(evidence.outcome.engines),
        "rules": sorted({rule_of[f.alternative] for line in planned.values() for f in line.firings}),
        "lines": {
            line_id(key): [line.strength, line.standing, progress(evidence, key).state]
            for key, line in planned.items()
        },
    }
