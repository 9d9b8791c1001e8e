"""Every example's page in a real browser: nothing overflows, all is reachable, readable and silent.

Needs Chromium (Debian: `apt-get install chromium`), playwright and axe-playwright-python (Python packages);
without them these tests are skipped and say what is missing. Nothing here reaches the network.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.case import load_case
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
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
CLOSE = "() => document.querySelectorAll('details').forEach(d => d.open = false)"
WATCH_FOCUS = "() => { window.seen = new Set(); addEventListener('focusin', e => window.seen.add(e.target)) }"
REACHABLE = """() => [...document.querySelectorAll('a[href], summary, [tabindex="0"]')]
  .filter(e => e.checkVisibility())"""
UNSEEN_IN_PRINT = """() => [...document.querySelectorAll('details')].filter(d => {
  const inside = [...d.children].find(e => e.tagName !== 'SUMMARY')
  return inside && inside.getBoundingClientRect().height === 0 && inside.textContent.trim()
}).length"""
TALLEST = "() => Math.max(0, ...[...document.querySelectorAll('figure svg')].map(e => e.clientHeight))"
# Marks three texts of each kind, first, middle and last: of one kind are texts that look the same on the same grounds.
MARK = """() => {
  const kinds = new Map()
  const look = (e, names) => { const style = getComputedStyle(e); return names.map(n => style[n]).join() }
  const grounds = e => e ? grounds(e.parentElement) + look(e, GROUNDS).replace(BARE, '') : ''
  const BARE = 'rgba(0, 0, 0, 0),none,1,static', GROUNDS = ['backgroundColor', 'backgroundImage', 'opacity', 'position']
  const LETTERS = ['color', 'fill', 'fontSize', 'fontWeight', 'textShadow', 'visibility']
  for (const e of document.querySelectorAll('body *')) {
    e.removeAttribute('data-some')
    if (![...e.childNodes].some(n => n.nodeType === Node.TEXT_NODE && n.data.trim())) continue
    const kind = e.tagName + look(e, LETTERS) + grounds(e)
    kinds.set(kind, [...kinds.get(kind) ?? [], e])
  }
  for (const all of kinds.values())
    for (const e of [all[0], all[all.length >> 1], all.at(-1)]) e.setAttribute('data-some', '')
  return kinds.size
}"""
ALL_BUT_CONTRAST = {"rules": {"color-contrast": {"enabled": False}}}
COLOURS = {"runOnly": ["color-contrast", "link-in-text-block"]}
SCREEN = {"width": 1280, "height": 720}
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
ALIKE = (
    "door-hit",
    "parked-tap",
    "rear-corner-van",
)  # with the parts other examples show: only in the long form


@pytest.fixture(
    scope="module",
    params=[pytest.param(p, marks=[pytest.mark.long] if p.startswith(ALIKE) else []) for p in PAGES],
)
def shown(request: pytest.FixtureRequest, browser: Any, written: dict[str, Path]) -> Iterator[Page]:
    """A page, opened once for its tests; it must write nothing to the console and ask for nothing but itself."""
    context = browser.new_context(bypass_csp=True, viewport=SCREEN)
    opened, said, asked = context.new_page(), list[str](), list[str]()
    opened.on("console", lambda message: said.append(message.text))
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.on("request", lambda asking: asked.append(asking.url))
    opened.goto(written[request.param].as_uri())
    assert not opened.locator("details[open]").count()
    yield opened
    context.close()
    assert not said
    assert set(asked) == {written[request.param].as_uri()}


@pytest.fixture
def page(shown: Page) -> Page:
    """The page as it came up, whatever the test before did to it: loading it again costs more than most checks."""
    shown.emulate_media(media="null", color_scheme="light")
    shown.set_viewport_size(SCREEN)
    shown.evaluate(CLOSE)
    return shown


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
    page.reload()  # only a page just loaded is walked from its beginning
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


def violations(page: Page, rules: dict[str, Any], within: str | None = None) -> list[str]:
    """What axe finds wrong by these rules, all details opened: everywhere, or in what a selector names."""
    from axe_playwright_python.sync_playwright import Axe

    page.evaluate(OPEN)
    options = {"resultTypes": ["violations"], **rules}
    found = Axe().run(page, context=within, options=options).response["violations"]
    return [
        f"{v['id']}: {n['html'][:120]} {n['failureSummary'][:200]}" for v in found for n in v["nodes"][:3]
    ]


def test_labels_and_structure(page: Page) -> None:
    assert violations(page, ALL_BUT_CONTRAST) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_contrast_of_each_kind_of_text(page: Page, scheme: str) -> None:
    page.emulate_media(color_scheme=scheme)
    page.evaluate(OPEN)
    assert page.evaluate(MARK) > 3
    assert violations(page, COLOURS, "[data-some]") == []


@pytest.mark.long
def test_contrast_of_every_text(page: Page) -> None:
    """Two milliseconds a text, so `long`; the short form above takes texts of the same looks for one."""
    assert violations(page, COLOURS) == []


def test_these_checks_can_fail(browser: Any) -> None:
    page = browser.new_page()
    page.set_viewport_size({"width": 360, "height": 900})
    page.set_content(
        "<html><body><p>dark</p><div><p style='color:#999;background:#fff'>pale</p></div><input>"
        "<div style='width:500px'>wide</div>"
        "<details><summary>s</summary><div style='display:none'>never printed</div></details>"
        "<a href='#x' tabindex='-1'>out of reach</a></body></html>"
    )
    assert page.evaluate(OVERFLOW)
    assert page.evaluate(UNSEEN_IN_PRINT) == 1
    assert page.evaluate(MARK) == 5
    for within in (None, "[data-some]"):
        (pale,) = violations(page, COLOURS, within)
        assert "color-contrast" in pale
    said = " ".join(violations(page, ALL_BUT_CONTRAST))
    assert "label" in said
    assert "contrast" not in said
    page.evaluate(WATCH_FOCUS)
    for _ in range(5):
        page.keyboard.press("Tab")
    assert page.evaluate(f"({REACHABLE})().filter(e => !window.seen.has(e)).length") == 1
    page.close()
