"""Hostile text in every field a person can fill: it stays text in every format."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable

import pytest
from knockon.engine.render.csv import handover_csv, plan_csv, supplement_csv
from knockon.engine.render.html import handover_html, plan_html, supplement_html
from knockon.engine.render.markdown import handover_markdown, plan_markdown, supplement_markdown
from sample_plan import HANDOVER, PLAN, SUPPLEMENT, with_text
from test_html import Outline, plain

Put = Callable[[str], str]
HOSTILE: dict[str, str] = {
    "script": "<script>alert(1)</script>",
    "comment": "--><img src=x onerror=alert(1)><!--",
    "attribute": "\"'><svg onload=alert(1)>",
    "template": "{{7*7}}{% for x in y %}${7*7}#{7*7}",
    "style": "</style><style>*{display:none}</style>url(http://x.example)",
    "svg": "</text></svg><foreignObject><body onload=alert(1)>",
    "closing": "</title></desc></details></article></main>",
    "entity": "&lt;script&gt;&#60;b&#62;",
    "formula": "=cmd|' /C calc'!A0",
    "plus": "+1+cmd",
    "at": "@SUM(1+1)*cmd",
    "override": "\u202egnp.exe\u202c \u2066x\u2069",
    "terminal": "\x1b[31mred\x1b]0;title\x07\x9b31m",
    "markdown": "](javascript:alert(1)) **x** | --- | `x` # y",
    "fence": "```\n# heading\n- item\n| a | b |",
    "arabic": "سيارة زرقاء",
    "surrogate": "a\ud800b",
    "long": "x" * 10_000,
    "separators": "a\u2028b\u2029c\x00d\x85e",
}
PAGES: tuple[tuple[Callable[..., str], object], ...] = (
    (plan_html, PLAN),
    (supplement_html, SUPPLEMENT),
    (handover_html, HANDOVER),
)
NOTES: tuple[tuple[Callable[..., str], object], ...] = (
    (plan_markdown, PLAN),
    (supplement_markdown, SUPPLEMENT),
    (handover_markdown, HANDOVER),
)
TABLES: tuple[tuple[Callable[..., str], object], ...] = (
    (plan_csv, PLAN),
    (supplement_csv, SUPPLEMENT),
    (handover_csv, HANDOVER),
)
UNSEEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def puts(text: str) -> list[Put]:
    """The hostile text instead of, before and after what was there."""
    return [lambda _: text, lambda old: text + old, lambda old: old + text]


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize(("write", "thing"), PAGES, ids=["plan", "supplement", "handover"])
def test_no_text_becomes_markup(write: Callable[..., str], thing: object, text: str) -> None:
    clean = Outline(write(thing))
    for put in puts(text):
        page = write(with_text(thing, put))
        outline = Outline(page)
        assert outline.tags == clean.tags
        assert {n for n, _ in outline.attributes} <= {n for n, _ in clean.attributes}
        assert sum(page.count(f"<{tag}") for tag in ("style", "svg", "script", "article", "details")) == sum(
            write(thing).count(f"<{tag}") for tag in ("style", "svg", "script", "article", "details")
        )
        assert not UNSEEN.search(page)
        page.encode("utf-8")


def test_a_template_in_a_case_is_not_run() -> None:
    page = plan_html(with_text(PLAN, lambda _: "{{7*7}}"))
    assert "49" not in plain(page)
    assert "{{7*7}}" in page


def test_the_text_itself_is_still_there_to_read() -> None:
    page = plan_html(with_text(PLAN, lambda _: "<b>&amp;</b> سيارة"))
    assert "&lt;b&gt;&amp;amp;&lt;/b&gt; سيارة" in page


def test_typed_text_cannot_turn_what_stands_around_it() -> None:
    page = plan_html(with_text(PLAN, lambda _: "\u202eabc"))
    assert "<h1><bdi>abc</bdi></h1>" in page


def test_endless_text_is_cut_and_says_so() -> None:
    page = plan_html(with_text(PLAN, lambda _: "x" * 10_000))
    assert "(8500 more characters)" in page
    assert len(page) < 2_000_000


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize(("write", "thing"), NOTES, ids=["plan", "supplement", "handover"])
def test_no_text_becomes_markdown(write: Callable[..., str], thing: object, text: str) -> None:
    before = write(thing)
    for put in puts(text):
        note = write(with_text(thing, put))
        assert not UNSEEN.search(note.replace("\n", ""))
        assert not re.search(r"<[a-z/!]", note, re.I)
        assert not re.search(r"(?<!\\)\]\(", note)
        assert "```" not in note
        for start in ("#", "|"):
            now, was = ([x for x in n.split("\n") if x.lstrip().startswith(start)] for n in (note, before))
            assert len(now) <= len(was)


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize(("write", "thing"), TABLES, ids=["plan", "supplement", "handover"])
def test_no_text_becomes_a_formula(write: Callable[..., str], thing: object, text: str) -> None:
    size = len(list(csv.reader(io.StringIO(write(thing), newline=""))))
    for put in puts(text):
        table = list(csv.reader(io.StringIO(write(with_text(thing, put)), newline="")))
        assert len(table) == size
        assert {len(row) for row in table} == {len(table[0])}
        for row in table[1:]:
            for value in row:
                assert not value.lstrip().startswith(("=", "+", "-", "@", "\t", "\r"))
                assert not UNSEEN.search(value)
