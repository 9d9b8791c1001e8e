"""The schema the examples' modelines point at is the one `knockon schema case` prints."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from knockon.engine.model.program import Program
from knockon.engine.review.schemas import editor_schema

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
CASES = sorted(p for p in EXAMPLES.glob("*/*.yaml") if p.parent.name != "packs")


def test_the_schema_beside_the_examples_is_current(program: Program) -> None:
    current = json.loads((EXAMPLES / "case.schema.json").read_text("utf-8")) == editor_schema("case", program)
    assert current, "`knockon schema case > examples/case.schema.json`, and read the diff"


@pytest.mark.parametrize("case", CASES, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_every_example_points_at_it(case: Path) -> None:
    assert case.read_text("utf-8").startswith("# yaml-language-server: $schema=../case.schema.json\n")
