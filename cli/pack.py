"""`knockon pack`: the bench of whoever maintains rule packs."""

from __future__ import annotations

import sys
from collections.abc import Collection
from contextlib import closing
from enum import StrEnum
from importlib.metadata import version
from pathlib import Path
from typing import Annotated

import typer

from ..engine.diagnostics.message import InputError, Messages
from ..engine.load.names import known
from ..engine.load.pack import load_program
from ..engine.model.span import NOWHERE
from . import stack
from .completion import packs
from .files import made_folder, write_atomically
from .page import page

pack_app = typer.Typer(help="The bench of whoever maintains rule packs.", no_args_is_help=True)
Dirs = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="[DIR]...",
        help="Pack folders or names of built-in packs, lowest first.",
        autocompletion=packs,
    ),
]


class Form(StrEnum):
    """Text for people, JSON for programs."""

    TEXT = "text"
    JSON = "json"


class Grid(StrEnum):
    """How to write the matrix."""

    TEXT = "text"
    JSON = "json"
    HTML = "html"
    CSV = "csv"


class Report(StrEnum):
    """How to write the findings."""

    TEXT = "text"
    JSON = "json"
    SARIF = "sarif"


@pack_app.command()
def check(
    dirs: Dirs = None,
    date: Annotated[str, typer.Option(metavar="YYYY-MM-DD", help="Measure sources at this day.")] = "",
    accepted: Annotated[bool, typer.Option("--accepted", help="List what is accepted, and why.")] = False,
    format: Annotated[Report, typer.Option(help="Text, JSON, or SARIF for a code host.")] = Report.TEXT,
) -> None:
    """Look for everything wrong or doubtful in packs, in one run.

    Example: knockon pack check base my_shop --date 2026-12-01

    Exits with 1 when something deserves a look, with 2 when the packs cannot be read whole.
    """
    from ..engine.render.findings import findings_json, findings_sarif, findings_text
    from ..engine.review.check import check as look

    try:
        review = look(stack.pack_folders(dirs), date)
    except ValueError:
        raise typer.BadParameter(f"`{date}` is not a date; write it as YYYY-MM-DD") from None
    if format is Report.TEXT:
        sys.stdout.write(findings_text(review, page(), accepted=accepted))
    elif format is Report.JSON:
        sys.stdout.write(findings_json(review))
    else:
        sys.stdout.write(findings_sarif(review, version("knockon")))
    if review.program is None:
        raise typer.Exit(2)
    if review.findings:
        raise typer.Exit(1)


@pack_app.command("try")
def try_(
    dirs: Dirs = None,
    format: Annotated[Form, typer.Option(help="Text or JSON.")] = Form.TEXT,
    conditions: Annotated[bool, typer.Option("--conditions", help="List every condition tried.")] = False,
) -> None:
    """Run the scenarios beside the rules and say what they cover.

    Example: knockon pack try base us_federal my_shop

    Exits with 1 when a scenario fails.
    """
    from ..engine.render.bench import as_json, trial_data, trial_text
    from ..engine.review.scenarios import try_stack

    program, trial = try_stack(stack.pack_folders(dirs))
    if format is Form.JSON:
        sys.stdout.write(as_json(trial_data(trial)))
    else:
        sys.stdout.write(trial_text(trial, program, page(), conditions))
    if not all(v.passed or v.changed_above for v in trial.verdicts):
        raise typer.Exit(1)


@pack_app.command()
def matrix(
    dirs: Dirs = None,
    format: Annotated[Grid, typer.Option(help="How to write it.")] = Grid.TEXT,
) -> None:
    """Systems against kinds of event: which rules ask for what, and where none does.

    Example: knockon pack matrix --format html > matrix.html
    """
    from ..engine.render.bench import as_json, matrix_data, matrix_text
    from ..engine.render.matrix import matrix_csv, matrix_html
    from ..engine.review.matrix import matrix as find

    program = load_program(stack.pack_folders(dirs))
    found = find(program)
    if format is Grid.JSON:
        sys.stdout.write(as_json(matrix_data(found)))
    elif format is Grid.HTML:
        sys.stdout.write(matrix_html(found, program))
    elif format is Grid.CSV:
        sys.stdout.write(matrix_csv(found))
    else:
        sys.stdout.write(matrix_text(found, program, page()))


@pack_app.command()
def effect(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="The pack as it was.")],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="The pack as it would be.")],
    cases: Annotated[Path, typer.Option(metavar="PATH", help="A folder of cases, or a JSON Lines file.")],
    under: Annotated[list[Path] | None, typer.Option(metavar="DIR", help="A pack below both.")] = None,
    over: Annotated[list[Path] | None, typer.Option(metavar="DIR", help="A pack above both.")] = None,
    format: Annotated[Form, typer.Option(help="Text or JSON.")] = Form.TEXT,
    scheduler: stack.Scheduler = "",
    workers: stack.Workers = stack.CORES,
    memory: stack.MemoryMB = stack.MEMORY_MB,
    seconds: stack.Seconds = stack.SECONDS,
) -> None:
    """Say which plans of a body of cases a change of packs would alter, and which rule does it.

    Example: knockon pack effect base my_base --cases cases.jsonl --over us_federal

    Exits with 1 when a plan changes or a case could not be compared.
    """
    from ..engine.render.bench import as_json, effect_data, effect_text
    from ..engine.review.batch import Job
    from ..engine.review.effect import effect_work
    from ..engine.review.tally import Tally

    below, above = (stack.pack_folders(d) if d else [] for d in (under, over))
    before, after = stacks = [[*below, *stack.pack_folders([pack]), *above] for pack in (old, new)]
    tally = Tally(load_program(before), load_program(after))
    named = tuple(tuple(str(f.resolve()) for f in folders) for folders in stacks)
    job = Job(effect_work, named, memory << 20, seconds)
    tick = stack.ticker("effect")
    items = stack.cases_at(cases, scheduler)
    with closing(stack.run_everywhere(items, job, workers, scheduler)) as stream:
        for result in stream:
            tally.add(result)
            tick(tally.cases, tally.left_out)
    stack.end_tick()
    sys.stdout.write(as_json(effect_data(tally)) if format is Form.JSON else effect_text(tally, page()))
    if tally.changed or tally.left_out:
        raise typer.Exit(1)


@pack_app.command()
def promise(
    dirs: Dirs = None,
    only: Annotated[list[str] | None, typer.Option(metavar="ID", help="Prove this one only.")] = None,
    cases: Annotated[Path | None, typer.Option(metavar="DIR", help="Where counterexamples go.")] = None,
    seconds: Annotated[float, typer.Option(min=0.1, help="Time for one promise.")] = 60.0,
    parts: Annotated[int | None, typer.Option(min=0, help="At most so many parts.")] = None,
    results: Annotated[int | None, typer.Option(min=0, help="At most so many results in the log.")] = None,
    format: Annotated[Form, typer.Option(help="Text or JSON.")] = Form.TEXT,
) -> None:
    """Prove the promises of packs for every case there can be, or show the smallest that breaks one.

    Example: knockon pack promise base us_federal --cases broken

    Exits with 1 when a promise is broken or could not be decided in time.
    """
    from ..engine.render.bench import as_json
    from ..engine.render.promises import promises_data, promises_text
    from ..engine.review.promise import PROVED, REFUTED, Bounds, due, prove

    program = load_program(stack.pack_folders(dirs))
    _all_known(only or [], {p.rule.id for p in program.promises}, "promise")
    chosen = [p for p in program.promises if p.rule.id in only] if only else list(due(program))
    tick = stack.counter("promise", len(chosen))
    verdicts = prove(
        program,
        chosen,
        limit_seconds=seconds,
        bounds=Bounds(parts, parts, results),
        progress=lambda number, _, one: tick(number, one.rule.id),
    )
    stack.end_tick()
    written: dict[str, str] = {}
    for verdict in verdicts:
        if cases and verdict.state == REFUTED:
            made_folder(cases)
            written[verdict.promise.rule.id] = str(cases / f"{verdict.promise.rule.id}.yaml")
            write_atomically(Path(written[verdict.promise.rule.id]), verdict.case)
    if format is Form.JSON:
        sys.stdout.write(as_json(promises_data(verdicts)))
    else:
        sys.stdout.write(promises_text(verdicts, page(), written))
    if any(v.state != PROVED for v in verdicts):
        raise typer.Exit(1)


@pack_app.command()
def pages(
    dirs: Dirs = None,
    out: Annotated[Path, typer.Option(metavar="DIR", help="The folder of pages.")] = Path("docs"),
    compare: Annotated[bool, typer.Option("--compare", help="Write nothing; say what would change.")] = False,
) -> None:
    """Write a page for every area of rules, for all messages and for all words of a case, from the packs.

    Example: knockon pack pages --out docs --compare

    With --compare, exits with 1 when a page is not as it would be written.
    """
    from ..engine.render.reference import MADE
    from ..engine.render.reference import pages as make

    made = {out / name: text for name, text in make(load_program(stack.pack_folders(dirs))).items()}
    stale = [f for f, text in made.items() if not f.is_file() or f.read_bytes() != text.encode()]
    others = sorted(set((out / "rules").glob("*.md")) - set(made))
    left_over = [f for f in others if f.read_bytes().startswith(MADE.encode())]
    for file in stale if not compare else ():
        made_folder(file.parent)
        write_atomically(file, made[file])
    for file in left_over if not compare else ():
        file.unlink()
    sys.stdout.write("".join(f"{f}: {'stale' if compare else 'written'}\n" for f in stale))
    sys.stdout.write("".join(f"{f}: {'left over' if compare else 'taken away'}\n" for f in left_over))
    if compare and (stale or left_over):
        raise typer.Exit(1)


def _all_known(given: list[str], names: Collection[str], what: str) -> None:
    messages = Messages()
    for name in given:
        known(name, names, what, NOWHERE, messages)
    if messages.errors:
        raise InputError(messages)
