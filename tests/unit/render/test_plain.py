"""Wrapped text is what `textwrap` makes of it, whichever way it was wrapped."""

from __future__ import annotations

import textwrap

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from knockon.engine.render.plain import NARROWEST, Page, clean

WORDS = st.text(st.sampled_from("ab-é漢 \xa0\u3000\n\t\x1b\u202e"), max_size=12)
TEXTS = st.lists(WORDS | st.sampled_from(["word", "x" * 45, "a-long-word-with-hyphens"]), max_size=25).map(
    " ".join
)


def expected(text: str, width: int, lead: str, rest: str) -> str:
    told = clean(text).replace("\n", " ")
    if not told.strip():
        return lead.rstrip()
    return textwrap.fill(
        told, max(NARROWEST, width), initial_indent=lead, subsequent_indent=rest, break_on_hyphens=False
    )


@given(TEXTS, st.integers(20, 90), st.integers(0, 12), st.none() | st.integers(0, 12), st.booleans())
@example("two  words", 80, 4, None, False)
@example("two  words that go on " * 4, 80, 4, None, False)
@example(" ", 80, 4, None, True)
@example("x" * 76, 80, 4, None, False)
@example("x" * 77, 80, 4, None, False)
@example("x" * 35 + " y", 20, 4, 0, True)
def test_wrapped_text_is_that_of_textwrap(
    text: str, width: int, indent: int, hang: int | None, marked: bool
) -> None:
    lead = "-" * indent if marked else " " * indent
    rest = " " * (indent if hang is None else hang)
    wrapped = Page(width).wrap(text, first=lead, hang=hang)
    assert wrapped == expected(text, width, lead, rest)
    if not marked:
        assert Page(width).wrap(text, indent, hang=hang) == wrapped


@pytest.mark.parametrize("text", [12, None, 1.5])
def test_what_is_no_text_is_written_as_python_has_it(text: object) -> None:
    assert Page().wrap(text, indent=2) == f"  {text}"
