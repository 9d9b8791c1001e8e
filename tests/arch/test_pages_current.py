"""The pages in docs/ are those the packs and the codes give; `knockon pack pages --out docs` renews them."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest
from command import built_in
from knockon.engine.render.reference import pages

DOCS = Path(__file__).parents[2] / "docs"


@cache
def made() -> dict[str, str]:
    return pages(built_in())


def test_no_page_is_missing_or_left_over() -> None:
    there = {f"rules/{p.name}" for p in (DOCS / "rules").glob("*")}
    assert there == {name for name in made() if name.startswith("rules/")}


@pytest.mark.parametrize("name", sorted(made()))
def test_page_is_current(name: str) -> None:
    assert (DOCS / name).read_text("utf-8") == made()[name], "run `knockon pack pages --out docs`"


def test_every_rule_has_a_section_and_every_link_a_target() -> None:
    rules = built_in().rules
    anchors = {(name, a) for name, text in made().items() for a in re.findall(r'<a id="([^"]+)">', text)}
    assert {a for name, a in anchors if name.startswith("rules/")} == {r.lower() for r in rules}
    links = re.findall(r"\]\((rules/[^)#]+)#([^)]+)\)", made()["rules.md"])
    assert len(links) == len(rules)
    assert set(links) <= anchors


def test_pages_hold_no_names_of_variables_or_machines() -> None:
    for text in made().values():
        assert not re.search(r"\$[a-z]|/home|/work|/tmp|None", text)
