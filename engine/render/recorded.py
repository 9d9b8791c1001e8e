"""What an entry in the log did: the verdict, what the plan now says of the line, what was voided."""

from __future__ import annotations

from collections.abc import Iterator

from ..model.plan import HELD, PASSED, VOID, WAIVED, Line, Plan
from ..model.record import replace
from .plain import Page
from .text import progress_text

MOST_LINES = 12


def recorded_text(before: Plan, after: Plan, ids: list[str], page: Page) -> str:
    """The lines named, then what else is not as it was."""
    return "\n".join(_text(before, after, ids, page)) + "\n"


def _text(before: Plan, after: Plan, ids: list[str], page: Page) -> Iterator[str]:
    for id_ in ids:
        line = after.line(id_)
        if line is None:
            yield page.wrap(f"{id_} is not on the plan: no rule asks for it; the entry is kept")
        else:
            yield from _line(line, page)
    old = {line.id: line for line in before.lines if line.standing != "possible"}
    new = {line.id: line for line in after.lines if line.standing != "possible"}
    voided = [line for id_, line in new.items() if line.progress == VOID and _was(old, id_) != VOID]
    yield from _list(
        "to be done again", [f"{n.title} [{n.id}]: void since {n.void_because}" for n in voided], page
    )
    added = [f"{line.title} [{id_}]: {_why(line)}" for id_, line in new.items() if id_ not in old]
    yield from _list("now on the plan", added, page)
    yield from _list(
        "off the plan", [f"{line.title} [{id_}]" for id_, line in old.items() if id_ not in new], page
    )
    held = [
        line
        for id_, line in new.items()
        if line.progress == HELD and _was(old, id_) != HELD and id_ not in ids
    ]
    yield from _list("held", [f"{line.title} [{line.id}]: {line.holds[0].why}" for line in held], page)
    known = {n.text for n in before.notices}
    told = {n.kind for n in before.notices} & {"ahead"}  # only its count grows, with every entry
    new_ones = [n.text for n in after.notices if n.text not in known and n.kind not in told]
    yield from _list("to settle or know", new_ones, page)


def _was(lines: dict[str, Line], id_: str) -> str:
    return lines[id_].progress if id_ in lines else ""


def _why(line: Line) -> str:
    return f"{line.because[0].rule}, {line.because[0].why}" if line.because else ""


def _line(line: Line, page: Page) -> Iterator[str]:
    words = {VOID: "void, to be done again", PASSED: "passed, and the result stands", WAIVED: "waived"}
    state = (
        "possible: no rule asks for it yet"
        if line.standing == "possible"
        else words.get(line.progress, line.progress)
    )
    yield page.wrap(f"{line.title} [{line.id}]: {state}")
    yield from progress_text(replace(line, results=line.results[-1:]), page, 2)


def _list(title: str, items: list[str], page: Page) -> Iterator[str]:
    if not items:
        return
    yield page.wrap(f"{title}:")
    for item in items[:MOST_LINES]:
        yield page.wrap(item, first="  - ", hang=4)
    if len(items) > MOST_LINES:
        yield page.wrap(f"and {len(items) - MOST_LINES} more; `knockon plan` shows them", indent=4)
