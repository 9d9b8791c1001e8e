"""`knockon handover`: whether everything the plan asks for is documented."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from ..engine.plan.build import make_plan
from ..engine.plan.handover import handover as close
from .files import write_atomically
from .inputs import CaseFile, PackDirs, read_case, read_program
from .page import page
from .supplement import Format, OutFile


def handover(
    case: CaseFile,
    pack: PackDirs = None,
    format: Annotated[Format, typer.Option(help="How to write it.")] = Format.TEXT,
    out: OutFile = None,
) -> None:
    """Say what is documented and what is missing, by who can close it. Exits with 1 while some is missing.

    Example: knockon handover case.yaml
    """
    from ..engine.render.handover import handover_json, handover_text

    program = read_program(pack)
    found = close(make_plan(program, read_case(case, program)), program)
    text = handover_json(found) if format is Format.JSON else handover_text(found, page())
    if out:
        write_atomically(out, text)
    else:
        sys.stdout.write(text)
    if not found.ready:
        raise typer.Exit(1)
