"""`knockon pack`: the bench of whoever maintains rule packs."""

from __future__ import annotations

import sys
from collections.abc import Collection
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from ..engine.diagnostics.message import InputError, Messages
from ..engine.load.names import known
from ..engine.load.pack import load_program
from ..engine.model.span import NOWHERE
from ..engine.model.version import VERSION
from ..engine.render.plain import as_json, clean
from . import stack
from .completion import packs
from .files import made_folder, write_atomically
from .pack_effect import effect
from .page import page
from .stack import Form

pack_app = typer.Typer(help="The bench of whoever maintains rule packs.", no_args_is_help=True)
Dirs = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="[DIR]...",
        help="Pack folders or names of built-in packs, lowest first; all built-in packs when none is given.",
        autocompletion=packs,
    ),
]


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
        sys.stdout.write(findings_sarif(review, VERSION))
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
    from ..engine.render.trial import trial_data, trial_text
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
    """Show which rules ask for what, by system and kind of event.

    Where none does, there is a hole.

    Example: knockon pack matrix --format html > matrix.html
    """
    from ..engine.render.matrix import matrix_csv, matrix_data, matrix_html, matrix_text
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


pack_app.command()(effect)


@pack_app.command()
def promise(
    dirs: Dirs = None,
    only: Annotated[
        list[str] | None, typer.Option(metavar="ID", help="Prove this one only; repeatable.")
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Also those that bind a lower pack alone.")] = False,
    cases: Annotated[Path | None, typer.Option(metavar="DIR", help="Where counterexamples go.")] = None,
    seconds: Annotated[float, typer.Option(min=0.1, help="Time for one promise.")] = 60.0,
    parts: Annotated[int | None, typer.Option(min=0, help="At most so many parts.")] = None,
    results: Annotated[int | None, typer.Option(min=0, help="At most so many results in the log.")] = None,
    format: Annotated[Form, typer.Option(help="Text or JSON.")] = Form.TEXT,
) -> None:
    """Prove promises for every case, or show what breaks one.

    Every case the vocabulary can express is meant; what breaks a promise is a
    smallest case, which `knockon plan` runs.

    Example: knockon pack promise base us_federal --cases broken

    A promise binds its own pack; one that is `kept_by_all` binds every pack
    above it too. Exits with 1 when a promise is broken or could not be decided
    in time.
    """
    from ..engine.render.promises import promises_data, promises_text
    from ..engine.review.promise import PROVED, REFUTED, Bounds, due, prove

    program = load_program(stack.pack_folders(dirs))
    _all_known(only or [], {p.rule.id for p in program.promises}, "promise")
    chosen = [p for p in program.promises if p.rule.id in only] if only else list(due(program))
    chosen = list(program.promises) if every and not only else chosen
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
        sys.stdout.write(promises_text(verdicts, program, page(), written))
    if any(v.state != PROVED for v in verdicts):
        raise typer.Exit(1)


@pack_app.command()
def pages(
    dirs: Dirs = None,
    out: Annotated[Path, typer.Option(metavar="DIR", help="The folder of pages.")] = Path("docs"),
    compare: Annotated[bool, typer.Option("--compare", help="Write nothing; say what would change.")] = False,
) -> None:
    """Write the pages of rules, words and messages from the packs.

    One for every area of rules, one for all messages, and one for all words of
    a case. A page of a pack that is not among those given is taken away.

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
    sys.stdout.write(clean("".join(f"{f}: {'stale' if compare else 'written'}\n" for f in stale)))
    sys.stdout.write(clean("".join(f"{f}: {'left over' if compare else 'taken away'}\n" for f in left_over)))
    if compare and (stale or left_over):
        raise typer.Exit(1)


def _all_known(given: list[str], names: Collection[str], what: str) -> None:
    messages = Messages()
    for name in given:
        known(name, names, what, NOWHERE, messages)
    if messages.errors:
        raise InputError(messages)
