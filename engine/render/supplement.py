"""The supplement as text and JSON: what changed, because of which facts, rules and packs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ..model.supplement import (
    ADDED,
    DOUBTED,
    DROPPED,
    FIRMED,
    KINDS,
    LOOSENED,
    STRENGTH,
    VOIDED,
    Change,
    PackChange,
    Supplement,
)
from .phrases import fact_words, source_words
from .plain import Page, as_json, clean
from .plan_json import plain, support_data
from .words import CLOSING
from .words import STRENGTH as STRENGTH_WORDS

VERSION = 1
HEADINGS = {
    ADDED: "ADDED",
    DROPPED: "DROPPED",
    FIRMED: "NOW CERTAIN",
    LOOSENED: "NO LONGER CERTAIN",
    STRENGTH: "CHANGED IN STRENGTH",
    VOIDED: "VOIDED",
    DOUBTED: "DONE, BUT PERHAPS UNDONE BY WHAT IS NEW ON THE PARTS LIST",
}


def supplement_text(found: Supplement, page: Page) -> str:
    """The page an estimator sends to the payer."""
    return "\n".join(_text(found, page)) + "\n"


def _text(found: Supplement, page: Page) -> Iterator[str]:
    yield page.emphasise(page.spread(f"SUPPLEMENT  {clean(found.case)}", found.date), "strong")
    yield page.wrap(f"from {found.before} to {found.after}")
    for change in found.packs:
        yield page.wrap(pack_change_words(change))
    for kind in KINDS:
        changes = [c for c in found.changes if c.kind == kind]
        if changes:
            yield page.heading(f"{HEADINGS[kind]} ({len(changes)})")
        for number, item in enumerate(changes, 1):
            yield from _change(item, page, f"{number:3d} ")
    if not found.changes:
        yield "\nNo line was added, dropped, firmed, changed in strength or voided."
    yield ""
    yield page.wrap(CLOSING)


def _change(item: Change, page: Page, lead: str) -> Iterator[str]:
    pad, place = len(lead), f" - {item.line.place.replace('_', ' ')}" if item.line.place else ""
    yield page.wrap(f"{item.line.title}{place}", first=lead, hang=pad)
    yield page.wrap(f"{state_words(item)}  [{item.line.id}]", indent=pad)
    for fact in item.facts:
        said = "; ".join(w for w in (fact.said_by, str(fact.at) if fact.at.file else "") if w)
        end = f" ({said})" if said else ""
        yield page.wrap(
            f"{fact.title}: was {fact.before}, now {fact.after}{end}", first=" " * pad + "* ", hang=pad + 2
        )
    for rule in item.rule_changes:
        yield page.wrap(
            f"rule {rule.rule} is {rule.how} in pack {rule.pack}: {rule.title}",
            first=" " * pad + "* ",
            hang=pad + 2,
        )
    for support in item.rules:
        yield page.wrap(support.why, first=f"{' ' * pad}{support.rule} ", hang=pad + 2)
        if support.facts:
            yield page.wrap(f"facts: {'; '.join(fact_words(f) for f in support.facts)}", indent=pad + 2)
        yield page.wrap(f"source: {'; '.join(source_words(s) for s in support.sources)}", indent=pad + 2)


def state_words(item: Change) -> str:
    """What the line was and is, in one phrase."""
    if item.kind == VOIDED:
        return f"result void since {item.voided}"
    if item.kind == DOUBTED:
        return f"done {item.voided}; the log does not say when the work below was done: record the event, or do this line again"
    if item.kind == STRENGTH:
        return f"was {STRENGTH_WORDS[item.strength_before]}, now {STRENGTH_WORDS[item.strength_after]}"
    if item.kind in (FIRMED, LOOSENED):
        return f"{STRENGTH_WORDS[item.strength_after]}; was {item.standing_before}, now {item.standing_after}"
    if item.kind == DROPPED:
        return f"was {STRENGTH_WORDS[item.strength_before]}, {item.standing_before}"
    return f"{STRENGTH_WORDS[item.strength_after]}, {item.standing_after}"


def pack_change_words(change: PackChange) -> str:
    """Which pack is not the one it was."""
    if change.before is None or change.after is None:
        pack, how = change.after or change.before, "added" if change.before is None else "left out"
        return f"pack {change.name} {pack.version if pack else ''} was {how}"
    if change.before.version != change.after.version:
        return f"pack {change.name} was {change.before.version}, now {change.after.version}"
    return f"pack {change.name} {change.after.version} has other content than before"


def supplement_json(found: Supplement) -> str:
    """The supplement as indented JSON text, by schemas/supplement.schema.json."""
    data = {
        "version": VERSION,
        "case": found.case,
        "date": found.date,
        "before": found.before,
        "after": found.after,
        "packs": [_pack(p) for p in found.packs],
        "changes": [_data(c) for c in found.changes],
    }
    return as_json(data)


def _pack(change: PackChange) -> dict[str, Any]:
    sides = {"before": change.before, "after": change.after}
    return {"name": change.name} | {
        k: p and {"version": p.version, "sha256": p.sha256} for k, p in sides.items()
    }


def _data(item: Change) -> dict[str, Any]:
    line = item.line
    return {
        "kind": item.kind,
        "id": line.id,
        "operation": line.operation,
        "place": line.place,
        "title": line.title,
        "phase": line.phase,
        "strength": {"before": item.strength_before, "after": item.strength_after},
        "standing": {"before": item.standing_before, "after": item.standing_after},
        "voided": item.voided,
        "rules": [support_data(s) for s in item.rules],
        "facts": [plain(f) for f in item.facts],
        "rule_changes": [plain(r) for r in item.rule_changes],
    }
