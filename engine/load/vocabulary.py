"""Checks of the vocabulary itself: what catalogues, assumptions and impossible answers name is there."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import product
from typing import Any

from ..diagnostics.message import Messages
from ..model.catalogue import FactSpec, Implied, Impossible, Test, Value
from ..model.record import replace
from ..model.span import Span
from .catalogues import Catalogues
from .names import as_list, known
from .patterns import PatternReader
from .tree import Tree


def check_names(found: Catalogues, trees: list[Tree], messages: Messages) -> None:
    """Every name inside the catalogues is in its own vocabulary."""
    for tree in trees:
        for id_, raw in (tree.value.get("facts") or {}).items():
            _read_assumptions(id_, raw["assume"], tree, found, messages)
        parts, operations = tree.value.get("parts") or {}, tree.value.get("operations") or {}
        for id_, raw in parts.items():
            for relation in ("carries", "covers", "near"):
                for i, system in enumerate(raw.get(relation, [])):
                    known(system, found.systems, "system", tree.at("parts", id_, relation, i), messages)
            for i, zone in enumerate(raw.get("zones", [])):
                known(zone, found.zones, "zone", tree.at("parts", id_, "zones", i), messages)
        for id_, raw in operations.items():
            known(raw["phase"], found.phases, "phase", tree.at("operations", id_, "phase"), messages)
            for key, names, what in (
                ("systems", found.systems, "system"),
                ("after", found.operations, "operation"),
                ("needs", found.preconditions, "precondition"),
                ("cautions", found.cautions, "caution"),
                ("void_by", found.events, "event"),
            ):
                for i, name in enumerate(raw.get(key, [])):
                    known(name, names, what, tree.at("operations", id_, key, i), messages)
            for name in raw.get("why_after", {}):
                known(
                    name,
                    found.operations,
                    "operation",
                    tree.key("operations", id_, "why_after", name),
                    messages,
                )
        for id_, raw in (tree.value.get("events") or {}).items():
            for fact in raw.get("answers", {}):
                known(fact, found.facts, "fact", tree.key("events", id_, "answers", fact), messages)
            if raw.get("part"):
                known(raw["part"], found.parts, "part", tree.at("events", id_, "part"), messages)
        for section in ("labour", "limits"):
            for id_ in tree.value.get(section) or {}:
                known(id_, found.operations, "operation", tree.key(section, id_), messages)


def _read_assumptions(id_: str, raw: Any, tree: Tree, found: Catalogues, messages: Messages) -> None:
    """The conditions of a fact's assumptions, in the grammar of rules; only facts can be asked for."""
    spec, assume = found.facts[id_], []
    if spec.span != tree.key("facts", id_) or not any(isinstance(item, dict) for item in as_list(raw)):
        return
    for i, assumption in enumerate(spec.assume):
        item, path = raw[i], ("facts", id_, "assume", i, "when")
        given = item.get("when", []) if isinstance(item, dict) else []
        tests = _tests(tree, path, given, found, messages)[0]  # facts only, so there is one choice
        for j, (kind, _, _) in enumerate(tests):
            if kind != "fact":
                text, step = "an assumption may rest on facts only", "ask for a fact"
                messages.add("KN210", text, tree.at(*path, j), next_step=step)
        assume.append(replace(assumption, when=tuple((s, t) for kind, s, t in tests if kind == "fact")))
    found.facts[id_] = replace(spec, assume=tuple(assume))


def check_facts(names: Catalogues, messages: Messages) -> None:
    """Every value set or assumed is one of its fact; conditions name facts; assumptions go in no circle."""
    for event in names.events.values():
        for fact, value in event.answers.items():
            _check_values(fact, (value,), event.span, names, messages)
    for spec in names.facts.values():
        _check_values(
            spec.id, (*spec.clear, *(v for a in spec.assume for v in a.values)), spec.span, names, messages
        )
    for spec in names.facts.values():
        ring = _ring(spec, names, (spec.id,))
        if ring:
            text = f"assumptions depend on each other: {' -> '.join(ring)}"
            messages.add("KN232", text, spec.span, next_step="let one of them assume a fixed value")


def _check_values(
    fact: str, values: Iterable[object], span: Span, names: Catalogues, messages: Messages
) -> None:
    spec = names.facts.get(fact)
    if spec is not None and spec.type in ("choice", "set"):
        allowed = names.systems if "*" in spec.values else spec.values
        for value in values:
            known(value, allowed, f"value of `{fact}`", span, messages)
    for word in [
        v for v in values if spec is not None and spec.type in ("number", "date") and isinstance(v, str)
    ]:
        step = "write 8 or 2026-11-16, or `nothing`"
        messages.add("KN304", f"`{word}` is not a number or date for `{fact}`", span, next_step=step)


def _ring(spec: FactSpec, names: Catalogues, seen: tuple[str, ...]) -> tuple[str, ...]:
    for assumption in spec.assume:
        for fact, _ in assumption.when:
            if fact == seen[0]:
                return (*seen, fact)
            if fact in names.facts and fact not in seen:
                found = _ring(names.facts[fact], names, (*seen, fact))
                if found:
                    return found
    return ()


Tests = tuple[tuple[str, str, Test], ...]


def _tests(
    tree: Tree, path: tuple[str | int, ...], raw: list[Any], names: Catalogues, messages: Messages
) -> list[Tests]:
    """Plain fact and fitted patterns as (kind, id, test); a list of systems means any of them, one choice each."""
    reader, found = PatternReader(tree, names, messages), list[list[tuple[str, str, Test]]]()
    for j, item in enumerate(raw):
        pattern = reader.pattern(item, (*path, j))
        if pattern is None or pattern.test is None:
            continue
        if pattern.kind not in ("fact", "fitted"):
            step = "ask for facts, or for what is fitted"
            messages.add(
                "KN210", "only fact and fitted patterns can stand here", tree.at(*path, j), next_step=step
            )
            continue
        found.append([(pattern.kind, subject, pattern.test) for subject in pattern.subjects])
    return list(product(*found))


def read_impossible(tree: Tree, names: Catalogues, messages: Messages) -> list[Impossible]:
    """Sets of answers that exclude each other."""
    found = []
    for i, raw in enumerate(tree.value.get("impossible") or []):
        for tests in _tests(tree, ("impossible", i, "facts"), raw["facts"], names, messages):
            found.append(Impossible(raw["title"], tests, tree.at("impossible", i, "title")))
    return found


def read_implied(tree: Tree, names: Catalogues, messages: Messages) -> list[Implied]:
    """Answers that follow from others: a fact's value, or systems that are then fitted or not fitted."""
    found: list[Implied] = []
    for i, raw in enumerate(tree.value.get("implied") or []):
        answers = _implied_answers(raw, i, tree, names, messages)
        for tests in _tests(tree, ("implied", i, "when"), raw["when"], names, messages):
            span = tree.at("implied", i, "title")
            found += [Implied(raw["title"], tests, slot, values, span) for slot, values in answers]
    return found


def _implied_answers(
    raw: dict[str, Any], i: int, tree: Tree, names: Catalogues, messages: Messages
) -> list[tuple[tuple[str, str], frozenset[Value]]]:
    """What one entry settles: systems that are fitted or not, and values of facts."""
    found: list[tuple[tuple[str, str], frozenset[Value]]] = []
    for key, word in (("fitted", "yes"), ("not_fitted", "no")):
        for j, system in enumerate(raw.get(key, [])):
            if known(system, names.systems, "system", tree.at("implied", i, key, j), messages):
                found.append((("fitted", system), frozenset((word,))))
    for fact, value in (raw.get("facts") or {}).items():
        if known(fact, names.facts, "fact", tree.key("implied", i, "facts", fact), messages):
            _check_values(fact, as_list(value), tree.at("implied", i, "facts", fact), names, messages)
            found.append((("fact", fact), frozenset(str(v) for v in as_list(value))))
    return found
