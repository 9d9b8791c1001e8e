"""`knockon handover`: whether everything the plan asks for is documented."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from ..engine.model.handover import Handover
from ..engine.plan.build import make_plan
from ..engine.plan.handover import handover as close
from .files import deliver
from .inputs import Format, read_case, read_program
from .page import page

if TYPE_CHECKING:
    from .options import CaseFile, OutFile, PackDirs, typer


def handover(
    case: CaseFile,
    pack: PackDirs = None,
    format: Annotated[Format, typer.Option(help="How to write it.")] = Format.TEXT,
    out: OutFile = None,
) -> int:
    """Say what is documented and what is missing, by who can close it. Exits with 1 while some is missing.

    Example: knockon handover case.yaml
    """
    program = read_program(pack, case)
    found = close(make_plan(program, read_case(case, program)), program)
    text = write(found, format)
    deliver(text, out, case)
    return 0 if found.ready else 1


def write(found: Handover, format: Format) -> str:
    """The handover in one format; each module is loaded only when used."""
    if format is Format.HTML:
        from ..engine.render.html import handover_html

        return handover_html(found)
    if format is Format.MARKDOWN:
        from ..engine.render.markdown import handover_markdown

        return handover_markdown(found)
    if format is Format.CSV:
        from ..engine.render.csv import handover_csv

        return handover_csv(found)
    from ..engine.render.handover import handover_json, handover_text

    return handover_json(found) if format is Format.JSON else handover_text(found, page())
