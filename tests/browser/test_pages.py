"""Every example's page in a real browser: nothing overflows, all is reachable, readable and silent.

Needs Chromium (Debian: `apt-get install chromium`), playwright and axe-playwright-python (Python packages);
without them these tests are skipped and say what is missing. Nothing here reaches the network.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.case import load_case
from knockon.engine.model.program import Program
from knockon.engine.plan.build import evidence_of, plan_of
from knockon.engine.plan.handover import handover
from knockon.engine.plan.supplement import supplement
from knockon.engine.render.html import handover_html, plan_html, supplement_html

EXAMPLES = Path(__file__).parents[2] / "examples"
SAMPLE = Path(__file__).parents[1] / "unit" / "render" / "sample_plan.py"
CASES = sorted(p.parent.name for p in EXAMPLES.glob("*/case.yaml"))
NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
CHROMIUM = os.environ.get("KNOCKON_CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
FLAGS = (
    "--disable-gpu --disable-quic --no-first-run --disable-background-networking --disable-component-update "
    "--disable-sync" + (" --no-sandbox" if hasattr(os, "geteuid") and os.geteuid() == 0 else "")
).split()
WIDTHS = (360, 768, 1280)
PAPER = {"A4": (718, 1016), "Letter": (718, 950)}  # what is left inside the margins, in CSS pixels at 96 dpi
LACKING = [m for m in ("playwright", "axe_playwright_python") if importlib.util.find_spec(m) is None]
WHY = "browser tests not run: " + "; ".join(
    (["no Chromium found on this machine"] if CHROMIUM is None else [])
    + ([f"Python package missing: {', '.join(LACKING)}"] if LACKING else [])
)
pytestmark = [pytest.mark.slow, pytest.mark.skipif(CHROMIUM is None or bool(LACKING), reason=WHY)]

OVERFLOW = """() => {
  const wide = document.documentElement.clientWidth
  const name = e => e.tagName + '.' + (e.className.baseVal ?? e.className)
  return [...document.querySelectorAll('body *')].filter(e => {
    const box = e.getBoundingClientRect()
    if (!box.width || e.closest('.quiet, .skip, .shapes, defs')) return false
    if (e.parentElement.closest('.scroll')) return false
    return box.right > wide + 1 || box.left < -1
  }).map(e => name(e) + ': ' + e.textContent.trim().slice(0, 40)).slice(0, 5)
}"""
OPEN = "() => document.querySelectorAll('details').forEach(d => d.open = true)"
WATCH_FOCUS = "() => { window.seen = new Set(); addEventListener('focusin', e => window.seen.add(e.target)) }"
REACHABLE = """() => [...document.querySelectorAll('a[href], summary, [tabindex="0"]')]
  .filter(e => e.checkVisibility())"""
UNSEEN_IN_PRINT = """() => [...document.querySelectorAll('details')].filter(d => {
  const inside = [...d.children].find(e => e.tagName !== 'SUMMARY')
  return inside && inside.getBoundingClientRect().height === 0 && inside.textContent.trim()
}).length"""
TALLEST = "() => Math.max(0, ...[...document.querySelectorAll('figure svg')].map(e => e.clientHeight))"
Page = Any


@pytest.fixture(scope="module")
def written(program: Program, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Each page once, as a file."""
    folder, found = tmp_path_factory.mktemp("pages"), {}
    for name in CASES:
        case = load_case(EXAMPLES / name / "case.yaml", program, Messages())
        evidence = evidence_of(program, case, alone=True)
        plan = plan_of(evidence, with_considered=True)
        pages = {name: plan_html(plan, program), f"{name}-handover": handover_html(handover(plan, program))}
        for page, text in pages.items():
            found[page] = folder / f"{page}.html"
            found[page].write_text(text, encoding="utf-8")
    first, second = (evidence_of(program, _case(program, name), alone=True) for name in CASES[:2])
    found["supplement"] = folder / "supplement.html"
    found["supplement"].write_text(supplement_html(supplement(first, second, "a.yaml", "b.yaml")), "utf-8")
    for name, text in _extremes().items():
        found[name] = folder / f"{name}.html"
        found[name].write_text(text, "utf-8")
    return found


def _extremes() -> dict[str, str]:
    """Very long names, right-to-left text or markup in every field; 120 lines; no lines."""
    spec = importlib.util.spec_from_file_location("sample", SAMPLE)
    assert spec is not None
    assert spec.loader is not None
    sample = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sample)
    many = tuple(replace(sample.LINE, id=f"op_{n}", after=(f"op_{n - 1}",) if n else ()) for n in range(120))
    put = {
        "long": "x" * 10_000,
        "arabic": "مركبة زرقاء مع نص طويل جدا " * 9,
        "markup": "<script>alert(1)</script>",
    }
    pages = {
        name: plan_html(sample.with_text(sample.PLAN, lambda _, t=text: t)) for name, text in put.items()
    }
    pages["many"] = plan_html(replace(sample.PLAN, lines=many, notices=(), questions=()))
    pages["none"] = plan_html(replace(sample.PLAN, lines=(), log=(), notices=(), questions=()))
    return pages


def _case(program: Program, name: str) -> Any:
    return load_case(EXAMPLES / name / "case.yaml", program, Messages())


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One headless Chromium for the module."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield running
        running.close()


EXTREMES = ("long", "arabic", "markup", "many", "none")
PAGES = (*CASES, *(f"{name}-handover" for name in CASES), "supplement", *EXTREMES)


@pytest.fixture(params=PAGES)
def page(request: pytest.FixtureRequest, browser: Any, written: dict[str, Path]) -> Iterator[Page]:
    """A page, opened; it must write nothing to the console and ask for nothing but itself."""
    context = browser.new_context(bypass_csp=True)
    opened, said, asked = context.new_page(), list[str](), list[str]()
    opened.on("console", lambda message: said.append(message.text))
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.on("request", lambda asking: asked.append(asking.url))
    opened.goto(written[request.param].as_uri())
    yield opened
    context.close()
    assert not said
    assert asked == [written[request.param].as_uri()]


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_overflows_on_a_screen(page: Page, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    assert page.evaluate(OVERFLOW) == []
    page.evaluate(OPEN)
    assert page.evaluate(OVERFLOW) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("paper", PAPER)
def test_nothing_overflows_in_print_and_proofs_are_printed(page: Page, paper: str) -> None:
    width, height = PAPER[paper]
    page.emulate_media(media="print")
    page.set_viewport_size({"width": width, "height": height})
    assert page.evaluate(OVERFLOW) == []
    assert page.evaluate(UNSEEN_IN_PRINT) == 0
    assert page.evaluate(TALLEST) < height
    assert len(page.pdf(format=paper)) > 5000


def test_the_keyboard_reaches_everything(page: Page) -> None:
    page.evaluate(WATCH_FOCUS)
    for _ in range(page.evaluate(f"({REACHABLE})().length") + 1):
        page.keyboard.press("Tab")
    assert page.evaluate(f"({REACHABLE})().filter(e => !window.seen.has(e)).map(e => e.outerHTML)") == []


def test_a_proof_opens_with_the_keyboard(page: Page) -> None:
    summary = page.locator("summary").first
    if not summary.count():
        return
    summary.focus()
    page.keyboard.press("Enter")
    assert page.locator("details").first.get_attribute("open") is not None


def violations(page: Page) -> list[str]:
    """What axe finds wrong, all details opened."""
    from axe_playwright_python.sync_playwright import Axe

    page.evaluate(OPEN)
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    return [
        f"{v['id']}: {n['html'][:120]} {n['failureSummary'][:200]}" for v in found for n in v["nodes"][:3]
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_contrast_labels_and_structure(page: Page, scheme: str) -> None:
    page.emulate_media(color_scheme=scheme)
    assert violations(page) == []


def test_these_checks_can_fail(browser: Any) -> None:
    page = browser.new_page()
    page.set_viewport_size({"width": 360, "height": 900})
    page.set_content(
        "<html><body><p style='color:#999;background:#fff'>pale</p><input><div style='width:500px'>wide</div>"
        "<details><summary>s</summary><div style='display:none'>never printed</div></details>"
        "<a href='#x' tabindex='-1'>out of reach</a></body></html>"
    )
    assert page.evaluate(OVERFLOW)
    assert page.evaluate(UNSEEN_IN_PRINT) == 1
    said = " ".join(violations(page))
    assert "color-contrast" in said
    assert "label" in said
    page.evaluate(WATCH_FOCUS)
    for _ in range(5):
        page.keyboard.press("Tab")
    assert page.evaluate(f"({REACHABLE})().filter(e => !window.seen.has(e)).length") == 1
    page.close()
