"""`knockon pack`: the bench of whoever maintains rule packs."""

from __future__ import annotations

import sys
from contextlib import closing
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from ..engine.load.pack import load_program
from .page import page
from .stack import CORES, MEMORY_MB, SECONDS, MemoryMB, Seconds, Workers, end_tick, pack_folders, ticker

pack_app = typer.Typer(help="The bench of whoever maintains rule packs.", no_args_is_help=True)
Dirs = Annotated[
    list[Path] | None,
    typer.Argument(metavar="[DIR]...", help="Pack folders or names of built-in packs, lowest first."),
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
    from ..engine.review.scenarios import try_scenarios

    program = load_program(pack_folders(dirs))
    trial = try_scenarios(program)
    if format is Form.JSON:
        sys.stdout.write(as_json(trial_data(trial)))
    else:
        sys.stdout.write(trial_text(trial, program, page(), conditions))
    if not all(v.passed for v in trial.verdicts):
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

    program = load_program(pack_folders(dirs))
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
    workers: Workers = CORES,
    memory: MemoryMB = MEMORY_MB,
    seconds: Seconds = SECONDS,
) -> None:
    """Say which plans of a body of cases a change of packs would alter, and which rule does it.

    Example: knockon pack effect base my_base --cases cases.jsonl --over us_federal

    Exits with 1 when a plan changes or a case could not be compared.
    """
    from ..engine.render.bench import as_json, effect_data, effect_text
    from ..engine.review.batch import Job, run_cases
    from ..engine.review.cases import body_of_cases
    from ..engine.review.effect import effect_work
    from ..engine.review.tally import Tally

    below, above = (pack_folders(d) if d else [] for d in (under, over))
    stacks = [[*below, *pack_folders([pack]), *above] for pack in (old, new)]
    tally = Tally(*(load_program(stack) for stack in stacks))
    job = Job(effect_work, tuple(tuple(map(str, s)) for s in stacks), memory << 20, seconds)
    tick = ticker("effect")
    with closing(run_cases(body_of_cases(cases), job, workers=workers)) as stream:
        for result in stream:
            tally.add(result)
            tick(tally.cases, tally.left_out)
    end_tick()
    sys.stdout.write(as_json(effect_data(tally)) if format is Form.JSON else effect_text(tally, page()))
    if tally.changed or tally.left_out:
        raise typer.Exit(1)
