"""Markdown: what it says, and that typed marks stay marks."""

from __future__ import annotations

import pytest
from knockon.engine.model.plan import Plan
from knockon.engine.render.markdown import handover_markdown, plan_markdown, supplement_markdown
from knockon.engine.render.templates import markdown_safe
from sample_plan import HANDOVER, PLAN, SUPPLEMENT


def test_the_plan_reads_in_order_and_ticks_what_is_done() -> None:
    text = plan_markdown(PLAN)
    assert text.startswith("# Work plan case 12\n")
    for words in (
        "- [x] **1. first scan** (required, firm, passed) scan_pre",
        "- [ ] **2. aim, left** (required, firm, open) aim.left",
        "  - after 1",
        "  - held by R901: the floor is not level",
        "(observed, parts list, case.yaml, line 7)",
        "section 4 (from memory: read the section before quoting it)",
        "- **void** since 2026-01-03: seat out: 5. look behind the cover",
        "- **!** aim comes after a check that was not done yet",
        "(estimator or person who looks up the data) Lines that rest on it: 5. 1 more line could come in.",
        "| 2026-01-03 | seat out: carpet | event | seat_check, look |",
        "    - empty reading: -1.5 to 1 kg (12 readings)",
    ):
        assert words in text
    assert text.rstrip().endswith("never from this page.")


def test_every_list_item_starts_its_own_line(real_plans: dict[str, Plan]) -> None:
    for plan in (*real_plans.values(), PLAN):
        lines = plan_markdown(plan).split("\n")
        planned = sum(line.standing != "possible" for line in plan.lines)
        assert sum(x.startswith(("- [ ] **", "- [x] **")) for x in lines) == planned
        assert not [x for x in lines if "- [ ]" in x[3:]]
        assert "\n\n\n" not in plan_markdown(plan)


@pytest.mark.parametrize(
    ("typed", "safe"),
    [
        ("scan_pre at 09:10 (12.5 kg)", "scan_pre at 09:10 (12.5 kg)"),
        ("**bold** _it_ ~~x~~ `code`", r"\*\*bold\*\* \_it\_ \~\~x\~\~ \`code\`"),
        ("[a](b) ![c](d) <b> | #4 & $x$", r"\[a\](b) !\[c\](d) &lt;b&gt; \| \#4 &amp; \$x\$"),
        ("- item", r"\- item"),
        ("1. item", r"1\. item"),
        ("12) item", r"12\) item"),
        ("=== a", r"\=== a"),
        ("https://x.example www.x.example", r"https\://x.example www\.x.example"),
        ("two\nlines\x1b[31m", r"two lines\[31m"),
    ],
)
def test_marks_somebody_typed_stay_marks(typed: str, safe: str) -> None:
    assert markdown_safe(typed) == safe


def test_the_supplement_says_what_changed() -> None:
    text = supplement_markdown(SUPPLEMENT)
    assert "- **seat sensor check** (seat_check): required, firm" in text
    assert "  - strike on the underside: was not known, now yes (teardown, case.yaml, line 7)" in text
    assert "## Voided" in text


def test_the_handover_says_what_is_missing() -> None:
    text = handover_markdown(HANDOVER)
    assert "**Not ready: 3 things are missing.**" in text
    assert "- [ ] seat sensor check: its last result is a failure (failed)" in text
    assert "- [x] first scan (scan_pre): passed, 2026-01-02, A. Person" in text
