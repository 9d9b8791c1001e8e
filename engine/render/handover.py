"""The handover as text and JSON: what is documented, and what is missing, by who can close it."""

from __future__ import annotations

from collections.abc import Iterator

from ..model.handover import Handover
from ..model.plan import WAIVED
from .plain import Page, as_json, clean
from .plan_json import plain
from .words import CLOSING, WHO, several

VERSION = 1
SAYS = "This page says what is documented and what is not. It says nothing of the vehicle itself."


def handover_text(found: Handover, page: Page) -> str:
    """The whole page."""
    return "\n".join(_text(found, page)) + "\n"


def _text(found: Handover, page: Page) -> Iterator[str]:
    yield page.emphasise(page.spread(f"HANDOVER  {clean(found.case)}", found.date), "strong")
    passed = [d for d in found.documented if d.how != WAIVED]
    waived = [d for d in found.documented if d.how == WAIVED]
    counts = f"{several(len(passed), 'line')} with a result that stands, {len(waived)} waived"
    if found.ready:
        yield page.wrap(f"Documented: every line has a result that stands or a waiver. {counts}.")
    else:
        missing = several(len(found.missing), "thing is", "things are")
        yield page.wrap(f"Not ready: {missing} missing. {counts}.")
    for who in dict.fromkeys(m.who for m in found.missing):
        own = [m for m in found.missing if m.who == who]
        yield page.heading(f"MISSING, FOR THE {WHO.get(who, who).replace('_', ' ').upper()} ({len(own)})")
        for item in own:
            title = f"{item.title}: " if item.title else ""
            mark = f" [{item.id}]" if item.id else ""
            yield page.wrap(f"{title}{item.words}{mark}", first=" - ", hang=3)
    if waived:
        yield page.heading(f"WAIVED ({len(waived)})")
        for done in waived:
            yield page.wrap(f"{done.title} [{done.line}]: {done.words}", first=" - ", hang=3)
    if passed:
        yield page.heading(f"DONE ({len(passed)})")
        for done in passed:
            yield page.wrap(f"{done.title} [{done.line}]: {done.words}", first=" - ", hang=3)
    yield ""
    yield page.wrap(f"{SAYS} {CLOSING}")


def handover_json(found: Handover) -> str:
    """The same as indented JSON text, by schemas/handover.schema.json."""
    data = {"version": VERSION, "ready": found.ready, **plain(found)}
    return as_json(data)
