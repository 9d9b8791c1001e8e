"""Promises and what became of them, as text and as data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ..model.program import Program
from ..review.promise import PROVED, REFUTED, Verdict
from .plain import Page
from .words import several


def promises_text(
    verdicts: Sequence[Verdict], program: Program, page: Page, written: Mapping[str, str]
) -> str:
    """Each promise, what became of it and within which bound; `written` names the counterexamples' files."""
    parts = [
        line for verdict in verdicts for line in _one(verdict, page, written.get(verdict.promise.rule.id, ""))
    ]
    for bound in dict.fromkeys(v.bound for v in verdicts):
        parts.append(page.wrap(f"Bound: {bound}.", first="", hang=2))
    proved = sum(v.state == PROVED for v in verdicts)
    if any(v.state == REFUTED for v in verdicts) and program.overridden:
        gone = ", ".join(f"{id_} (by {rule.id} of {rule.pack})" for id_, rule in program.overridden.items())
        parts.append(page.wrap(f"Taken from lower packs: {gone}.", first="", hang=2))
    rest = len(program.promises) - len(verdicts)
    if rest:
        others = f"{several(rest, 'other promise')} of these packs not tried; `--all` tries every one."
        parts.append(page.wrap(others, first="", hang=2))
    return "\n".join([*parts, f"{several(len(verdicts), 'promise')}: {proved} proved"]) + "\n"


def _one(verdict: Verdict, page: Page, file: str) -> Iterator[str]:
    rule = verdict.promise.rule
    yield page.wrap(f"{rule.id} {rule.title}", first=f"{verdict.state.upper():<10} ", hang=11)
    if verdict.state == REFUTED:
        size = "smallest" if verdict.smallest else "small"
        yield page.wrap(f"promised at {rule.span}", indent=11)
        yield page.wrap(f"a {size} case in which it does not hold: {file or '(below)'}", indent=11)
        if not file:
            yield from (f"    {line}" for line in verdict.case.splitlines())


def promises_data(verdicts: Sequence[Verdict]) -> list[dict[str, Any]]:
    """The verdicts as plain data."""
    return [
        {
            "promise": v.promise.rule.id,
            "pack": v.promise.rule.pack,
            "title": v.promise.rule.title,
            "at": str(v.promise.rule.span),
            "state": v.state,
            "bound": v.bound,
            "smallest": v.smallest,
            "case": v.case,
        }
        for v in verdicts
    ]
