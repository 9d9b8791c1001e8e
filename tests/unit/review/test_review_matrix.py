"""The matrix: marks, holes, and what a spreadsheet or a browser makes of hostile titles."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from html.parser import HTMLParser

import pytest
from knockon.engine.model.program import Program
from knockon.engine.render.matrix import HOLE, matrix_csv, matrix_data, matrix_html, matrix_mark, matrix_text
from knockon.engine.render.plain import Page
from knockon.engine.review.matrix import Matrix, matrix

Tiny = Callable[..., Program]


@pytest.fixture
def grid(tiny: Tiny) -> Matrix:
    return matrix(tiny())


def marks(grid: Matrix, row: str) -> dict[str, str]:
    return {c.id: matrix_mark(grid.cells[row, c.id]) for c in grid.columns}


def test_columns_are_the_kinds_of_event_then_the_areas(grid: Matrix) -> None:
    assert [c.id for c in grid.columns] == ["collision", "hail", "none", "at_front", "at_rear"]
    assert grid.rows == ("", "eye", "ear")


def test_an_event_alone_further_facts_and_holes_are_told_apart(grid: Matrix) -> None:
    assert marks(grid, "eye") == {"collision": "R", "hail": ".", "none": ".", "at_front": "R", "at_rear": "R"}
    assert set(marks(grid, "ear").values()) == {HOLE}
    assert marks(grid, "")["hail"] == "R"  # signing, always


def test_a_cell_names_operation_rule_strength_and_how(grid: Matrix) -> None:
    found = {(a.operation, a.rule): (a.strength, a.how) for a in grid.cells["eye", "collision"]}
    assert found == {
        ("look", "T002"): ("required", "alone"),
        ("aim", "T003"): ("required", "more"),
    }
    hail = {(a.operation, a.rule): a.how for a in grid.cells["eye", "hail"]}
    assert hail == {("look", "T007"): "anyway"}


def test_text_keeps_to_the_page_and_names_systems_without_rules(grid: Matrix, tiny: Tiny) -> None:
    text = matrix_text(grid, tiny(), Page(80))
    assert max(map(len, text.splitlines())) <= 80
    assert "No rule ever asks for anything for: roof ear." in text


def test_csv_has_a_row_for_each_ask_and_hole_and_no_formula(grid: Matrix) -> None:
    rows = list(csv.DictReader(io.StringIO(matrix_csv(grid))))
    assert {r["how"] for r in rows if r["system"] == "ear"} == {"hole"}
    assert sum(r["event"] == "collision" and r["system"] == "eye" for r in rows) == 2
    assert not [cell for r in rows for cell in r.values() if cell.startswith(("=", "+", "-", "@"))]


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.marked: set[str] = set()
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        given = dict(attrs)
        self.marked |= {given["id"] or ""} if "id" in given else set()
        self.links += [given["href"] or ""] if tag == "a" else []


def test_the_page_holds_no_markup_from_packs_and_every_link_leads_somewhere(grid: Matrix, tiny: Tiny) -> None:
    html = matrix_html(grid, tiny())
    page = _Page()
    page.feed(html)
    assert "eye" not in page.tags
    assert "front &lt;eye&gt;" in html
    assert {link.removeprefix("#") for link in page.links} <= page.marked
    assert not {"script", "img", "link"} & set(page.tags)
    assert page.tags.count("td") >= 15


def test_data_has_every_cell(grid: Matrix) -> None:
    assert len(matrix_data(grid)["cells"]) == 15


def test_the_real_packs_have_no_hole_that_nobody_explained(program: Program) -> None:
    """Systems whose work is only ever set up through codes or modules of another system."""
    real = matrix(program)
    empty = {r for r in real.rows if all(not real.cells[r, c.id] for c in real.columns)}
    assert empty <= {"interior_radar", "trailer_module"}
