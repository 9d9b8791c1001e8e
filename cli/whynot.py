"""`knockon why-not`: why an operation is not on the plan, and what would bring it there."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

from ..engine.diagnostics.message import InputError, Messages
from ..engine.diagnostics.nearest import offer
from ..engine.explain.whynot import why_not as explain
from ..engine.model.places import PLACES
from ..engine.plan.build import evidence_of
from .inputs import read_case, read_program
from .page import page
from .why import Form

if TYPE_CHECKING:
    from .options import CaseFile, PackDirs, operations, typer


def why_not(
    case: CaseFile,
    operation: Annotated[
        str,
        typer.Argument(
            metavar="OPERATION[.PLACE]", help="An operation, as ocs_zero.", autocompletion=operations
        ),
    ],
    pack: PackDirs = None,
    format: Annotated[Form, typer.Option(help="Text or JSON.")] = Form.TEXT,
) -> None:
    """Explain why an operation is not on the plan: the nearest rules, what they lack, the smallest change.

    Example: knockon why-not examples/parked-tap/case.yaml ocs_zero
    """
    from ..engine.render.plain import as_json
    from ..engine.render.plan_json import plain
    from ..engine.render.why import why_not_text

    program = read_program(pack, case)
    name, _, place = operation.partition(".")
    if name not in program.operations or place not in PLACES:
        messages = Messages()
        what = "place" if name in program.operations else "operation"
        wrong, names = (place, PLACES) if what == "place" else (name, program.operations)
        hint, step = offer(wrong, names, what)
        messages.add("KN327", f"`{wrong}` is no {what}", nearest=hint, next_step=step)
        raise InputError(messages)
    answer = explain(evidence_of(program, read_case(case, program)), name, place)
    if format is Form.JSON:
        data = plain(answer)
        data["changes"] = [{".".join(s): sorted(map(str, v)) for s, v in c.items()} for c in answer.changes]
        sys.stdout.write(as_json(data))
    else:
        sys.stdout.write(why_not_text(answer, program, page()))
