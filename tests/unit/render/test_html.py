"""What the plan page, the supplement page and the handover page say, and in which order."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from knockon.engine.model.plan import Plan
from knockon.engine.model.record import replace
from knockon.engine.model.supplement import Supplement
from knockon.engine.render.html import handover_html, plan_html, supplement_html
from sample_plan import HANDOVER, LINE, PLAN, SUPPLEMENT

VOID_TAGS = {"meta", "br", "link", "img", "input", "hr"}


class Outline(HTMLParser):
    """Checks that every element is closed in order, and keeps ids, targets, headings and tags."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.ids: list[str] = []
        self.targets: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.feed(text)
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        if tag not in VOID_TAGS:
            self.open.append(tag)
        for name, value in attrs:
            self.attributes.append((name, value or ""))
            if name == "id":
                self.ids.append(value or "")
            if name == "href" and tag == "a":
                self.targets.append(value or "")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID_TAGS:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag


def plain(page: str) -> str:
    """The page as it is read: no styles, no tags, one space between words."""
    body = re.sub(r"<style>.*?</style>", "", page, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", "", body).split())


def pages() -> dict[str, str]:
    return {
        "plan": plan_html(PLAN),
        "supplement": supplement_html(SUPPLEMENT),
        "handover": handover_html(HANDOVER),
    }


@pytest.mark.parametrize("page", pages().values(), ids=pages())
def test_a_page_is_whole_and_stands_alone(page: str) -> None:
    outline = Outline(page)
    assert page.startswith("<!doctype html>")
    assert len(outline.ids) == len(set(outline.ids))
    assert {t.removeprefix("#") for t in outline.targets} <= set(outline.ids)
    assert "script" not in outline.tags
    assert not [n for n, _ in outline.attributes if n.startswith("on") or n == "src"]
    assert not re.search(r"https?://|url\((?!#)|@import", page)
    assert "default-src 'none'" in page


def test_what_must_be_decided_comes_before_the_work_and_the_origin_last() -> None:
    page = plan_html(PLAN)
    order = ["To decide first", "What can start now", "The vehicle", "The work, in order", "What was done",
             "Looked at and not planned", "Care", "Made from"]  # fmt: skip
    at = [page.index(f"<h2>{title}") for title in order]
    assert at == sorted(at)


def test_every_line_shows_strength_standing_and_progress_in_words() -> None:
    text = plain(plan_html(PLAN))
    for words in (
        "Line 1: first scan required firm passed",
        "Line 2: aim, left required firm open",
        "Line 3: aim, right required firm held",
        "Held by R901: the floor is not level",
        "Line 4: seat sensor check required firm failed",
        "the procedure says otherwise provisional, certain as “check whether it is needed” void",
        "Void since 2026-01-03: seat out. Do it again.",
        "Waived 2026-01-03, A. Person: not asked for",
    ):
        assert words in text


def test_a_proof_tells_facts_apart_and_marks_what_was_cited_from_memory() -> None:
    text = plain(plan_html(PLAN))
    assert "observed front fender: replaced (parts list, case.yaml, line 7)" in text
    assert "concluded the body took a jolt (case.yaml, line 7)" in text
    assert "assumed strike on the underside: yes" in text
    assert "The rulebook (third edition), section 4 [from memory: read the section before quoting it]" in text
    assert "Becomes firm, or falls, with: strike on the underside, fitted lidar." in text


def test_only_the_latest_result_is_open_and_the_page_never_says_more_than_the_log() -> None:
    page = plan_html(PLAN)
    line = page[page.index('id="line-seat_check"') : page.index('id="line-look"')]
    assert "1 earlier result of line 4" in line
    assert line.index("failed</b>") < line.index("earlier result")
    assert "void since 2026-01-03: seat out" in line


def test_a_result_is_shown_as_it_was_judged_not_as_it_was_typed() -> None:
    lines = tuple(
        replace(line, results=tuple(replace(r, outcome="not conclusive") for r in line.results))
        for line in PLAN.lines
    )
    text = plain(plan_html(replace(PLAN, lines=lines)))
    assert "seat sensor check: first try (A. Person)not conclusive" in text.replace(") not", ")not")


def test_what_can_start_now_needs_nothing_undone_before_it() -> None:
    page = plan_html(PLAN)
    start = page[page.index('id="start"') : page.index('id="picture"')]
    assert re.findall(r"#line-([a-z_.]+)", start) == ["aim.left", "look"]


def test_private_folders_stay_off_the_page() -> None:
    page = plan_html(replace(PLAN, file="/home/someone/private/case.yaml"))
    assert "someone" not in page
    assert "case.yaml" in page


def test_no_lines_no_log_no_questions_still_make_a_page() -> None:
    empty = replace(PLAN, lines=(), log=(), questions=(), notices=(), overrides=(), considered=(), picture={},
                    cautions={}, severity=0, severity_because=())  # fmt: skip
    text = plain(plan_html(empty))
    assert "Nothing is waiting for a decision." in text
    assert "No line is planned." in text
    assert "Direction of the force not known yet." in text
    Outline(plan_html(empty))


def test_three_hundred_lines_stay_well_formed() -> None:
    lines = tuple(replace(LINE, id=f"op_{n}", after=(f"op_{n - 1}",) if n else ()) for n in range(300))
    outline = Outline(plan_html(replace(PLAN, lines=lines, notices=(), questions=())))
    assert sum(i.startswith("line-") for i in outline.ids) == 300


def test_the_same_plan_gives_the_same_bytes() -> None:
    assert plan_html(PLAN) == plan_html(PLAN)


def test_the_closing_words_are_on_every_page() -> None:
    for page in pages().values():
        assert "trained, licensed people decide" in page
        assert "safe to drive" not in page


def test_one_engine_is_said() -> None:
    assert "one engine only" in plan_html(replace(PLAN, engines=("independent check",)))


def test_a_supplement_says_what_changed_and_because_of_what() -> None:
    text = plain(supplement_html(SUPPLEMENT))
    for words in (
        "strike on the underside: was not known, now yes (teardown, case.yaml, line 7)",
        "Rule R900 is new in pack base 1.2.0",
        "pack base 1.2.0 was added",
        "result void since 2026-01-03: seat out; to be done again",
    ):
        assert words in text


def test_a_supplement_without_changes_says_so() -> None:
    assert "No line was added" in supplement_html(Supplement("c", "2026-01-01", "a", "b", (), ()))


def test_a_handover_says_who_can_close_what() -> None:
    text = plain(handover_html(HANDOVER))
    assert "Not ready: 3 things are missing." in text
    assert "For the technician (2)" in text
    assert "For the estimator (1)" in text
    assert "Documented: every line" in plain(handover_html(replace(HANDOVER, missing=())))


def test_real_plans_are_well_formed(real_plans: dict[str, Plan]) -> None:
    for plan in real_plans.values():
        Outline(plan_html(plan))
