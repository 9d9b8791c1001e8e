"""`knockon plan`: the justified work plan of a case."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from ..engine.explain.facts import Evidence
from ..engine.explain.questions import try_answers
from ..engine.model.plan import Plan
from ..engine.model.program import Program
from ..engine.model.record import replace
from ..engine.plan.build import evidence_of, plan_of
from .files import deliver
from .inputs import Format, read_case, read_program
from .page import page

if TYPE_CHECKING:
    from .options import Alone, CaseFile, OutFile, PackDirs, typer

TRIED = 3


def plan(
    case: CaseFile,
    pack: PackDirs = None,
    format: Annotated[Format, typer.Option(help="How to write it.")] = Format.TEXT,
    out: OutFile = None,
    possible: Annotated[
        bool, typer.Option("--possible", help="Unfold lines that only another answer brings in.")
    ] = False,
    considered: Annotated[
        bool, typer.Option("--considered", help="List fitted systems that need nothing, and why.")
    ] = False,
    full: Annotated[bool, typer.Option("--full", help="Add notes, order, needs and what to record.")] = False,
    check_only: Alone = False,
) -> int:
    """Print what this vehicle needs, in working order, each line with facts, rules and sources.

    Example: knockon plan examples/front-corner/case.yaml

    Exits with 1 when questions are open or something must be settled.
    """
    program = read_program(pack, case)
    read = read_case(case, program)
    evidence = evidence_of(program, read, alone=check_only)
    made = with_answers_tried(plan_of(evidence, considered or format is Format.HTML), evidence)
    text = write(made, program, format, possible, full)
    deliver(text, out, case)
    return 1 if made.questions or made.notices else 0


def with_answers_tried(made: Plan, evidence: Evidence) -> Plan:
    """The plan with the weightiest questions answered each way, so that the reader sees what hangs on them."""
    tried = []
    for question in made.questions[:TRIED]:
        effects = try_answers(evidence, question)
        adds, drops, firms = (
            tuple(sorted({i for e in effects.values() for i in e[verb]}))
            for verb in ("adds", "drops", "firms")
        )
        tried.append(replace(question, answers=effects, adds=adds, drops=drops, firms=firms))
    return replace(made, questions=(*tried, *made.questions[TRIED:]))


def write(made: Plan, program: Program, format: Format, possible: bool = False, full: bool = False) -> str:
    """The plan in one format; each module is loaded only when used."""
    if format is Format.JSON:
        from ..engine.render.plan_json import plan_json

        return plan_json(made)
    if format is Format.HTML:
        from ..engine.render.html import plan_html

        return plan_html(made, program)
    if format is Format.MARKDOWN:
        from ..engine.render.markdown import plan_markdown

        return plan_markdown(made, program)
    if format is Format.CSV:
        from ..engine.render.csv import plan_csv

        return plan_csv(made)
    from ..engine.render.text import plan_text

    return plan_text(made, program, page(), possible=possible, full=full)
