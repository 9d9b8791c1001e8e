"""The matrix as a page and as a spreadsheet; neither text nor id from a pack becomes markup or a formula."""

from __future__ import annotations

import csv
import io
from importlib import resources

from ..model.program import Program
from ..model.rule import strongest
from ..review.matrix import ALONE, WHOLE_VEHICLE, Ask, Matrix
from .bench import HOLE, matrix_key, matrix_mark
from .csv import cell
from .words import STRENGTH, clean

COLUMNS = ("system", "event", "operation", "rule", "strength", "how")


def matrix_csv(matrix: Matrix) -> str:
    """One row for each rule that asks in a cell; a hole is a row with an empty operation."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in matrix.rows:
        for column in matrix.columns:
            for ask in matrix.cells[row, column.id] or (Ask("", "", "", "hole"),):
                cells = (row, column.id, ask.operation, ask.rule, ask.strength, ask.how)
                writer.writerow([cell(c) for c in cells])
    return out.getvalue()


def matrix_html(matrix: Matrix, program: Program) -> str:
    """One self-contained page: the grid, and under it who asks for what, system by system."""
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, finalize=clean, trim_blocks=True)
    text = resources.files("knockon.engine.render").joinpath("matrix.html.j2").read_text("utf-8")
    titles = {s.id: s.title for s in program.systems.values()} | {WHOLE_VEHICLE: "the whole vehicle"}
    return environment.from_string(text).render(
        matrix=matrix,
        program=program,
        titles=titles,
        mark=matrix_mark,
        key=matrix_key(),
        hole=HOLE,
        strength=STRENGTH,
        asked=_by_operation,
    )


def _by_operation(matrix: Matrix, row: str) -> list[tuple[str, str, str, list[str]]]:
    """Operation, rule, strongest strength, and the columns where it is asked for without further facts."""
    strengths: dict[tuple[str, str], str] = {}
    columns: dict[tuple[str, str], list[str]] = {}
    for column in matrix.columns:
        for ask in matrix.cells[row, column.id]:
            key = (ask.operation, ask.rule)
            strengths[key] = strongest(ask.strength, strengths.get(key, ask.strength))
            columns.setdefault(key, []).extend([column.id] if ask.how == ALONE else [])
    return [(*key, strengths[key], columns[key]) for key in sorted(columns)]
