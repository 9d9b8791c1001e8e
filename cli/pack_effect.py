"""`knockon pack effect`: which stored plans a change of packs alters, and which rule does it."""

from __future__ import annotations

import hashlib
import os
import sys
from contextlib import ExitStack, closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..engine.model.version import VERSION
from ..engine.render.plain import as_json
from . import stack
from .files import refuse_same
from .page import page
from .stack import Form

if TYPE_CHECKING:
    from collections.abc import Iterable

    from ..engine.review.batch import Result
    from ..engine.review.results import ResultsFile
    from ..engine.review.tally import Tally


def effect(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="The pack as it was; `none` for no pack.")],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="The pack as it would be, or `none`.")],
    cases: Annotated[Path, typer.Option(metavar="PATH", help="A folder of cases, or a JSON Lines file.")],
    under: Annotated[
        list[Path] | None, typer.Option(metavar="DIR", help="A pack below both, lowest first; repeatable.")
    ] = None,
    over: Annotated[
        list[Path] | None, typer.Option(metavar="DIR", help="A pack above both; repeatable.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Keep what was found, one JSON line a case.")
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on where a run with --out stopped.")] = False,
    format: Annotated[Form, typer.Option(help="Text or JSON.")] = Form.TEXT,
    scheduler: stack.Scheduler = "",
    workers: stack.Workers = stack.CORES,
    memory: stack.MemoryMB = stack.MEMORY_MB,
    seconds: stack.Seconds = stack.SECONDS,
) -> None:
    """Say which stored plans a change of packs alters, and why.

    Every case of a folder or file is planned under both; each difference is
    traced to the rule that makes it.

    Example: knockon pack effect none my_shop --under base --cases cases.jsonl

    Exits with 1 when a plan changes or a case could not be compared. Ctrl-C
    reports what was compared so far; with `--out` a later run goes on there.
    """
    if out:
        refuse_same(out, cases)
    if resume and out is None:
        raise typer.BadParameter("`--resume` goes on with the file of `--out`: name it")
    from ..engine.load.pack import load_program
    from ..engine.review.batch import Job
    from ..engine.review.effect import effect_work
    from ..engine.review.results import ResultsFile
    from ..engine.review.tally import Tally

    below, above = (stack.pack_folders(d) if d else [] for d in (under, over))
    before, after = stacks = [[*below, *stack.one_or_none(pack), *above] for pack in (old, new)]
    tally = Tally(load_program(before), load_program(after))
    named = tuple(tuple(map(os.path.realpath, folders)) for folders in stacks)
    job = Job(effect_work, named, memory << 20, seconds)
    try:
        with ExitStack() as open_:
            kept = open_.enter_context(ResultsFile(out, _run_id(tally), resume)) if out else None
            for result in kept.earlier() if kept else ():
                tally.add(result)
            items = kept.rest(stack.cases_at(cases, scheduler)) if kept else stack.cases_at(cases, scheduler)
            stream = open_.enter_context(closing(stack.run_everywhere(items, job, workers, scheduler)))
            _take(stream, tally, kept)
    except KeyboardInterrupt:
        if tally.cases:
            _report(tally, format, stopped=True)
        raise
    _report(tally, format)
    if tally.changed or tally.left_out:
        raise typer.Exit(1)


def _report(tally: Tally, format: Form, stopped: bool = False) -> None:
    from ..engine.render.effect import effect_data, effect_text
    from ..engine.render.words import several

    stack.end_tick()
    sys.stdout.write(as_json(effect_data(tally)) if format is Form.JSON else effect_text(tally, page()))
    if stopped:
        compared = several(tally.cases, "case")
        sys.stderr.write(f"the report is of the {compared} compared before it was stopped\n")


def _take(stream: Iterable[Result], tally: Tally, kept: ResultsFile | None) -> None:
    """Add up what is found, and keep it first where it is to be kept."""
    tick = stack.ticker("effect")
    for result in stream:
        if kept:
            kept.write(result)
        tally.add(result)
        tick(tally.cases, tally.left_out)


def _run_id(tally: Tally) -> str:
    """Short name of everything that decides what is found but the cases themselves."""
    sides = (",".join(p.sha256 for p in side.packs) for side in (tally.old, tally.new))
    return hashlib.sha256("\n".join([VERSION, "effect", *sides]).encode()).hexdigest()[:12]
