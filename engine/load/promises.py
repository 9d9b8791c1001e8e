"""From checked trees to promises: sentences about every plan, in the grammar of rules."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..diagnostics.message import Culprit, Messages
from ..model.places import PLACES
from ..model.program import Program
from ..model.rule import Alternative, Claim, Pattern, Promise, Rule
from .catalogues import Catalogues
from .link import is_record
from .names import as_list, known
from .patterns import PatternReader
from .rules import check_rule, expand, read_blocker, read_entry, variables
from .tree import Tree

CLAIMS = ("planned", "held", "not_planned", "before")


def read_promises(
    tree: Tree, pack: str, applies: Sequence[Pattern], names: Catalogues, messages: Messages
) -> list[Promise]:
    """All promises of a file; those of a pack that applies only sometimes speak of those cases only."""
    reader, found = PatternReader(tree, names, messages), []
    for i, raw in enumerate(tree.value.get("promises") or []):
        found.append(_promise(raw, ("promises", i), pack, applies, reader))
    return found


def refuse_twins(promises: Sequence[Promise], messages: Messages) -> None:
    """Ids of promises are unique across the stack."""
    seen: dict[str, Rule] = {}
    for promise in promises:
        rule = promise.rule
        if rule.id in seen:
            spans = Culprit(rule.span, "again here"), Culprit(seen[rule.id].span, "first here")
            messages.add(
                "KN233", f"two promises are called `{rule.id}`", *spans, next_step="give it its own id"
            )
        seen.setdefault(rule.id, rule)


def promise_alternatives(promise: Promise, program: Program) -> list[Alternative]:
    """The conjunctions under which a promise speaks, in the form the engines evaluate."""
    by_law = frozenset(
        s for r in program.rules.values() for e in r.then if e.verb == "fits" for s in e.subjects
    )
    found = []
    for i, choice in enumerate(expand(promise.rule)):
        ground = tuple(p for p in choice if not is_record(p, by_law))
        records = tuple(p for p in choice if is_record(p, by_law))
        rule = promise.rule
        found.append(Alternative(f"{rule.id}#{i}", rule, ground, records, rule.unless, (), program.strata))
    return found


def _promise(
    raw: Mapping[str, Any],
    path: tuple[str | int, ...],
    pack: str,
    applies: Sequence[Pattern],
    reader: PatternReader,
) -> Promise:
    when = [read_entry(p, (*path, "whenever", i), reader) for i, p in enumerate(raw.get("whenever", []))]
    unless = [read_blocker(p, (*path, "unless", i), reader) for i, p in enumerate(raw.get("unless", []))]
    rule = Rule(
        id=raw["id"],
        pack=pack,
        title=raw["title"],
        when=(*(w for w in when if w), *applies),
        unless=tuple(u for u in unless if u),
        then=(),
        strength="required",
        why=raw["why"],
        note="",
        source=(),
        span=reader.tree.at(*path, "id"),
    )
    check_rule(rule, reader.messages)
    claims = [_claim(c, (*path, "then", i), rule, reader) for i, c in enumerate(raw["then"])]
    return Promise(rule, tuple(c for c in claims if c), raw.get("kept_by_all", False))


def _claim(
    raw: Mapping[str, Any], path: tuple[str | int, ...], rule: Rule, reader: PatternReader
) -> Claim | None:
    tree, messages = reader.tree, reader.messages
    verbs = [v for v in CLAIMS if v in raw]
    if (
        len(verbs) != 1
        or ("strength" in raw and verbs != ["planned"])
        or ("side" in raw and verbs == ["before"])
    ):
        step = f"one of: {', '.join(CLAIMS)}; `strength` goes with planned, `side` with all but before"
        messages.add(
            "KN234", "each entry of `then` promises exactly one thing", tree.at(*path), next_step=step
        )
        return None
    verb, place = verbs[0], str(raw.get("side", ""))
    operations = tuple(str(o) for o in as_list(raw[verb]))
    for i, operation in enumerate(operations):
        known(operation, reader.names.operations, "operation", tree.at(*path, verb, i), messages)
    if place.startswith("$"):
        if not all(place in variables(choice) for choice in expand(rule)):
            step = "bind it in every alternative of `whenever`"
            messages.add(
                "KN218", f"`{place}` is not bound in `whenever`", tree.at(*path, "side"), next_step=step
            )
    elif place != "all":
        known(place, PLACES, "place", tree.at(*path, "side"), messages)
    return Claim(verb, operations, place, raw.get("strength", "check_whether"), tree.at(*path))
