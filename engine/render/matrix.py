"""The matrix as text, data, a page and a spreadsheet; nothing from a pack becomes markup or a formula."""

from __future__ import annotations

from importlib import resources
from typing import Any

from ..model.program import Program
from ..model.rule import strongest
from ..review.matrix import ALONE, MORE, WHOLE_VEHICLE, Ask, Matrix
from .csv import table
from .plain import Page
from .plan_json import plain
from .words import STRENGTH, clean

MARKS = {"required": "R", "unless_procedure": "U", "check_whether": "?"}
MORE_MARK, ANYWAY_MARK, HOLE = "+", ".", "--"
COLUMNS = ("system", "event", "operation", "rule", "strength", "how")


def matrix_mark(asks: tuple[Ask, ...]) -> str:
    """One cell in one or two characters: the strongest of what is asked for there."""
    if not asks:
        return HOLE
    return (
        MARKS[asks[0].strength] if asks[0].how == ALONE else MORE_MARK if asks[0].how == MORE else ANYWAY_MARK
    )


def matrix_text(matrix: Matrix, program: Program, page: Page) -> str:
    """The grid with numbered columns, and the holes in words."""
    numbers = [f"{n:>3}" for n in range(1, len(matrix.columns) + 1)]
    parts = ["SYSTEMS AGAINST KINDS OF EVENT", ""]
    parts += [
        page.wrap(c.title, first=f" {n} ", hang=5) for n, c in zip(numbers, matrix.columns, strict=True)
    ]
    parts += ["", " " * 22 + "".join(numbers)]
    for row in matrix.rows:
        marks = "".join(f"{matrix_mark(matrix.cells[row, c.id]):>3}" for c in matrix.columns)
        parts.append(f"{row or '(whole vehicle)':<22}{marks}")
    parts += ["", *(f"  {mark:>2}  {words}" for mark, words in matrix_key()), ""]
    empty = [r for r in matrix.rows if all(not matrix.cells[r, c.id] for c in matrix.columns)]
    named = [program.systems[r].title if r != WHOLE_VEHICLE else "the whole vehicle" for r in empty]
    if empty:
        parts.append(page.wrap(f"No rule ever asks for anything for: {'; '.join(named)}.", first="", hang=2))
    return "\n".join(parts) + "\n"


def matrix_key() -> list[tuple[str, str]]:
    """What each mark means."""
    told = [(mark, f"{STRENGTH[s]}, on the event alone") for s, mark in MARKS.items()]
    more = (MORE_MARK, "only when further facts say so")
    anyway = (ANYWAY_MARK, "only when further facts say so, whatever the event was")
    return [*told, more, anyway, (HOLE, "a hole: no rule can ask for anything here")]


def matrix_data(matrix: Matrix) -> dict[str, Any]:
    """The matrix as plain data; one entry for every rule that asks in a cell."""
    columns = [{"id": c.id, "title": c.title} for c in matrix.columns]
    cells = [
        {"system": row, "column": c.id, "asks": plain(matrix.cells[row, c.id])}
        for row in matrix.rows
        for c in matrix.columns
    ]
    return {"columns": columns, "cells": cells}


def matrix_csv(matrix: Matrix) -> str:
    """One row for each rule that asks in a cell; a hole is a row with an empty operation."""
    hole = (Ask("", "", "", "hole"),)
    rows = (
        (row, column.id, ask.operation, ask.rule, ask.strength, ask.how)
        for row in matrix.rows
        for column in matrix.columns
        for ask in matrix.cells[row, column.id] or hole
    )
    return table(COLUMNS, rows)


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
