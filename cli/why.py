"""`knockon why`: what stands behind a line of the plan."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from ..engine.diagnostics.message import InputError, Messages
from ..engine.diagnostics.nearest import nearest
from ..engine.explain.tree import proof
from ..engine.model.outcome import POSSIBLE, PROVISIONAL, Record
from ..engine.model.plan import Line, Plan
from ..engine.model.span import Span
from ..engine.plan.build import evidence_of, plan_of
from .inputs import read_case, read_program
from .page import page

if TYPE_CHECKING:
    from .options import CaseFile, PackDirs, lines, typer


class Depth(StrEnum):
    """How far to explain."""

    SENTENCE = "sentence"
    RULES = "rules"
    TREE = "tree"


class Form(StrEnum):
    """Text for people, JSON for programs."""

    TEXT = "text"
    JSON = "json"


def why(
    case: CaseFile,
    line: Annotated[
        str, typer.Argument(metavar="LINE", help="A line id of the plan, as ocs_check.", autocompletion=lines)
    ],
    depth: Annotated[
        Depth, typer.Option(help="One sentence, every rule, or the whole tree to observed facts.")
    ] = Depth.RULES,
    pack: PackDirs = None,
    format: Annotated[Form, typer.Option(help="Text or JSON.")] = Form.TEXT,
) -> None:
    """Explain why a line is on the plan.

    Example: knockon why examples/front-corner/case.yaml ocs_check --depth tree
    """
    from ..engine.render.plain import as_json
    from ..engine.render.plan_json import plain
    from ..engine.render.why import why_sentence, why_supports, why_tree

    program = read_program(pack, case)
    evidence = evidence_of(program, read_case(case, program))
    made = plan_of(evidence, with_questions=False)
    found = find_line(made, line, case)
    tree = proof(
        evidence,
        Record("planned", found.operation, found.place),
        POSSIBLE if found.standing == POSSIBLE else PROVISIONAL,
    )
    if format is Form.JSON:
        data = {"line": plain(found), "tree": plain(tree)}
        sys.stdout.write(as_json(data))
    elif depth is Depth.SENTENCE:
        sys.stdout.write(why_sentence(found, page()))
    elif depth is Depth.RULES:
        sys.stdout.write(why_supports(found, page()))
    else:
        sys.stdout.write(why_tree(tree, page()))


def find_line(made: Plan, wanted: str, case: Path) -> Line:
    """The line with that id, or the operation's only one (of those not merely possible, if any); else a message."""
    found = made.line(wanted)
    same = [line for line in made.lines if line.operation == wanted]
    meant = [line for line in same if line.standing != POSSIBLE] or same
    if found is None and len(meant) == 1:
        found = meant[0]
    if found is not None:
        return found
    messages = Messages()
    ids = [line.id for line in made.lines]
    hint = same[0].id if same else nearest(wanted, ids)
    others = (
        ", ".join(line.id for line in same)
        if same
        else ", ".join(i for i in ids if wanted.split(".")[0] in i)
    )
    step = (
        f"on the plan: {others}" if others else f"`knockon why-not {case} {wanted}` says why it is not there"
    )
    messages.add(
        "KN326", f"`{wanted}` is not a line of this plan", Span(str(case), 1, 1), nearest=hint, next_step=step
    )
    raise InputError(messages)
