"""The page of words: what it shows as an example is a case, and nothing a case can name is missing from it."""

from __future__ import annotations

import re

from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.case import build_case
from knockon.engine.load.link import DATE_FACT
from knockon.engine.load.tree import parse_tree
from knockon.engine.load.validate import validate
from knockon.engine.model.program import Program
from knockon.engine.render.vocabulary_page import vocabulary_page


def test_the_example_on_the_page_is_a_case(program: Program) -> None:
    block = re.search(r"```yaml\n(.*?)```", vocabulary_page(program), re.S)
    assert block is not None
    messages = Messages()
    tree = parse_tree(block[1], "page", messages)
    assert tree is not None
    assert validate(tree, "case", messages), messages.items
    build_case(tree, program, messages)
    assert not messages.items


def test_every_name_a_case_can_use_is_on_the_page(program: Program) -> None:
    page = vocabulary_page(program)
    shown = set(re.findall(r"`([^`\n]+)`", page))
    names = {*program.facts, *program.systems, *program.parts, *program.events, *program.operations}
    values = {v for f in program.facts.values() for v in f.values if v not in ("", "*", "unknown")}
    assert {*names, *values} - {DATE_FACT} <= shown
