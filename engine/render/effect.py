"""The effect of a change of packs on a body of cases, as text and JSON."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ..review.tally import Cause, Group, Same, Tally
from .plain import Page, clean
from .plan_json import plain
from .words import several

MOST_LISTED = 8
KIND_WORDS = {
    "lost": "lost",
    "weaker": "weaker",
    "not_held": "no longer held",
    "not_void": "no longer void",
    "less_firm": "less firm",
    "held": "now held",
    "void": "now void",
    "added": "added",
    "stronger": "stronger",
    "firmer": "firmer",
    "not_possible": "no longer possible",
    "possible": "now possible",
}


def effect_text(tally: Tally, page: Page) -> str:
    """What changed, by cause, most severe first; then what could not be compared."""
    head = f"{several(tally.cases, 'case')}: {tally.changed} with another plan, "
    parts = [head + f"{tally.cases - tally.changed - tally.left_out} unchanged"]
    for same, words in _left_out(tally):
        parts.append(page.wrap(f"{several(same.cases, 'case')} {words}:", first="  ", hang=4))
        parts += [page.wrap(e, indent=6) for e in same.examples]
    for group in tally.ranked():
        parts += _group(group, page)
    return "\n".join(parts) + "\n"


def _left_out(tally: Tally) -> list[tuple[Same, str]]:
    found = [
        (tally.only_old, "can be read with the old packs only"),
        (tally.only_new, "with the new packs only"),
    ]
    found += [(same, f"left out ({state})") for state, same in sorted(tally.bad.items())]
    return [(same, words) for same, words in found if same.cases]


def _group(group: Group, page: Page) -> Iterator[str]:
    yield page.heading(" + ".join(_cause_short(c) for c in group.causes) or "NO CAUSE FOUND")
    for cause in group.causes:
        if cause.rule is not None:
            sources = "; ".join(f"{s.source} {s.at}".strip() for s in cause.sources)
            yield page.wrap(
                f"{cause.rule.title} [{sources}] {cause.rule.span}", first=f"  {cause.id}: ", hang=4
            )
    yield f"  {several(group.cases, 'case')}"
    ranked = group.ranked()
    for same in ranked[:MOST_LISTED]:
        steps = f"{same.was or 'nothing'} -> {same.now or 'nothing'}"
        words = f"{same.line}: {steps}, {several(same.cases, 'case')}, e.g. {clean(', '.join(same.examples))}"
        yield page.wrap(words, first=f"  {KIND_WORDS[same.kind]:<10} ", hang=13)
    if len(ranked) > MOST_LISTED:
        yield f"  and {len(ranked) - MOST_LISTED} less severe; `--format json` has all"


def _cause_short(cause: Cause) -> str:
    return f"{cause.id} {cause.how}{f' by {cause.by}' if cause.by else ''}" if cause.rule else cause.id


def effect_data(tally: Tally) -> dict[str, Any]:
    """The tally as plain data, ranked."""
    return {
        "cases": tally.cases,
        "changed": tally.changed,
        "left_out": [
            {"why": words, "cases": s.cases, "examples": s.examples} for s, words in _left_out(tally)
        ],
        "groups": [
            {
                "causes": [
                    {"id": c.id, "how": c.how, "by": c.by, "sources": plain(c.sources)} for c in group.causes
                ],
                "cases": group.cases,
                "changes": [plain(s) for s in group.ranked()],
            }
            for group in tally.ranked()
        ],
    }
