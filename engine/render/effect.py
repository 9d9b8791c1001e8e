"""The effect of a change of packs on a body of cases, as text and JSON."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ..review.tally import Group, Same, Tally
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
    parts = [head + f"{tally.cases - tally.changed - tally.left_out} unchanged", *_headline(tally, page)]
    for same, words in _left_out(tally):
        shown = f"{several(same.cases, 'case')} {words}, e.g. {', '.join(same.examples)}"
        parts.append(page.wrap(shown, first="  ", hang=4))
    for group in tally.ranked():
        parts += _group(group, page)
    return "\n".join(parts) + "\n"


def _headline(tally: Tally, page: Page) -> Iterator[str]:
    """Before any cause: does a plan lose what was required, and which lines are they? Every one is named here."""
    if tally.losing:
        yield page.wrap(f"{several(tally.losing, 'plan')} with less than was required:", first="  ", hang=4)
    for words, lines in (("gone", tally.required_lost), ("weaker", tally.required_weaker)):
        if lines:
            named = ", ".join(f"{id_} {n}" for id_, n in sorted(lines.items(), key=lambda i: (-i[1], i[0])))
            yield page.wrap(clean(named), first=f"    {words:<7} ", hang=12)
    if tally.changed and not tally.losing:
        yield "  no plan with less than was required"
    if tally.plans:
        counts = (f"{KIND_WORDS[k]} {tally.plans[k]}" for k in KIND_WORDS if tally.plans[k])
        yield page.wrap(f"plans with a line {'; '.join(counts)}", first="  ", hang=4)


def _left_out(tally: Tally) -> list[tuple[Same, str]]:
    found = [
        (tally.only_old, "can be read with the old packs only"),
        (tally.only_new, "with the new packs only"),
    ]
    worst = sorted(tally.bad.items(), key=lambda item: (-item[1].cases, item[0]))
    found += [(same, f"left out ({state}): {why}") for (state, why), same in worst]
    return [(same, words) for same, words in found if same.cases]


def _group(group: Group, page: Page) -> Iterator[str]:
    yield page.heading(" + ".join(_causes(group)) or "NO CAUSE FOUND")
    for cause in group.causes:
        if cause.rule is not None:
            sources = "; ".join(f"{s.source} {s.at}".strip() for s in cause.sources)
            yield page.wrap(
                f"{cause.rule.title} [{sources}] {cause.rule.span}", first=f"  {cause.id}: ", hang=4
            )
    yield f"  {several(group.cases, 'case')}"
    ranked = group.ranked()
    wide = max(len(KIND_WORDS[same.kind]) for same in ranked[:MOST_LISTED])
    for same in ranked[:MOST_LISTED]:
        steps = f"{same.was or 'nothing'} -> {same.now or 'nothing'}"
        words = f"{same.line}: {steps}, {several(same.cases, 'case')}, e.g. {clean(', '.join(same.examples))}"
        yield page.wrap(words, first=f"  {KIND_WORDS[same.kind]:<{wide}}  ", hang=wide + 4)
    if len(ranked) > MOST_LISTED:
        yield f"  and {len(ranked) - MOST_LISTED} more, none more severe; `--format json` has all"


def _causes(group: Group) -> Iterator[str]:
    """Each cause in words; a rule and what it stands in place of are one."""
    both = {cause.by for cause in group.causes if cause.how == "added"}
    for cause in group.causes:
        if cause.rule is None:
            yield cause.id
        elif cause.how == "added":
            yield f"{cause.id} in place of {cause.by}" if cause.by else f"{cause.id} added"
        elif cause.id not in both:
            yield f"{cause.id} {cause.how}{f' by {cause.by}' if cause.by else ''}"


def effect_data(tally: Tally) -> dict[str, Any]:
    """The tally as plain data, ranked."""
    return {
        "cases": tally.cases,
        "changed": tally.changed,
        "losing": tally.losing,
        "required_lost": dict(sorted(tally.required_lost.items())),
        "required_weaker": dict(sorted(tally.required_weaker.items())),
        "plans": {kind: tally.plans[kind] for kind in KIND_WORDS if tally.plans[kind]},
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
