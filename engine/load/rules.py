"""From checked trees to rules and scenarios, every name looked up."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product
from typing import Any

from ..diagnostics.message import Messages
from ..model.record import replace
from ..model.rule import Citation, Effect, Pattern, Rule, Scenario
from .catalogues import Catalogues
from .effects import read_effect
from .names import as_list, known
from .patterns import PatternReader
from .tree import Tree

MAX_ALTERNATIVES = 64
Group = tuple[tuple[Pattern, ...], ...]


def read_rules(tree: Tree, pack: str, names: Catalogues, messages: Messages) -> list[Rule]:
    """All rules of a file; one with a problem has its message, and stays as a draft to keep its id taken."""
    reader, found = PatternReader(tree, names, messages), []
    for i, raw in enumerate(tree.value.get("rules") or []):
        before = len(messages.errors)
        rule = _rule(raw, ("rules", i), pack, reader)
        found.append(rule if len(messages.errors) == before else replace(rule, status="draft"))
    return found


def _rule(raw: Mapping[str, Any], path: tuple[str | int, ...], pack: str, reader: PatternReader) -> Rule:
    tree, messages = reader.tree, reader.messages
    if raw.get("withdraw"):
        idle = [k for k in ("when", "unless", "then", "strength", "replace") if k in raw]
        if idle:
            named = ", ".join(f"`{k}`" for k in idle)
            text = f"rule `{raw['id']}` withdraws another, so its {named} would do nothing"
            step = "use `replace:` alone to put a rule in the other's place"
            messages.add("KN215", text, *(tree.key(*path, k) for k in idle), next_step=step)
    else:
        for key in [k for k in ("title", "when", "then", "strength") if k not in raw]:
            messages.add(
                "KN111", f"rule `{raw['id']}` has no `{key}`", tree.at(*path), next_step=f"add `{key}:`"
            )
    when = [read_entry(p, (*path, "when", i), reader) for i, p in enumerate(raw.get("when", []))]
    unless = [read_blocker(p, (*path, "unless", i), reader) for i, p in enumerate(raw.get("unless", []))]
    then: list[Effect] = []
    for i, effect in enumerate(raw.get("then", [])):
        then += read_effect(effect, (*path, "then", i), reader)
    for i, citation in enumerate(raw["source"]):
        known(citation["id"], reader.names.sources, "source", tree.at(*path, "source", i, "id"), messages)
    valid = raw.get("valid", {})
    if valid.get("from", "") >= valid.get("until", "9999"):
        text = f"rule `{raw['id']}` is never in force: it ends before it begins"
        messages.add(
            "KN114", text, tree.at(*path, "valid"), next_step="`until` is the first day it no longer holds"
        )
    rule = Rule(
        id=raw["id"],
        pack=pack,
        title=raw.get("title", ""),
        when=tuple(w for w in when if w),
        unless=tuple(u for u in unless if u),
        then=tuple(then),
        strength=raw.get("strength", ""),
        why=raw["why"],
        note=raw.get("note", ""),
        source=tuple(Citation(c["id"], c.get("at", "")) for c in raw["source"]),
        status=raw.get("status", "active"),
        valid_from=valid.get("from", ""),
        valid_until=valid.get("until", ""),
        replaces=raw.get("replace", ""),
        withdraws=raw.get("withdraw", ""),
        target=tree.at(*path, "replace" if "replace" in raw else "withdraw"),
        span=tree.at(*path, "id"),
    )
    check_rule(rule, messages)
    return rule


def read_entry(raw: Mapping[str, Any], path: tuple[str | int, ...], reader: PatternReader) -> Any:
    """One entry of `when`: a pattern, or an `any` group of alternatives."""
    if "any" not in raw:
        return reader.pattern(raw, path)
    if len(raw) > 1:
        reader.messages.add(
            "KN210", "`any` stands alone", reader.tree.at(*path), next_step="move the rest out"
        )
    group = []
    for i, choice in enumerate(raw["any"]):
        patterns = [reader.pattern(p, (*path, "any", i, j)) for j, p in enumerate(choice)]
        group.append(tuple(p for p in patterns if p))
    return tuple(group)


def read_blocker(
    raw: Mapping[str, Any], path: tuple[str | int, ...], reader: PatternReader
) -> tuple[Pattern, ...]:
    """One entry of `unless`: a pattern, or an `all` group; it blocks when all of it holds."""
    given = [((*path, "all", i), p) for i, p in enumerate(raw["all"])] if "all" in raw else [(path, raw)]
    if "all" in raw and len(raw) > 1:
        reader.messages.add(
            "KN210", "`all` stands alone", reader.tree.at(*path), next_step="move the rest into it"
        )
    return tuple(p for p in (reader.pattern(p, where) for where, p in given) if p)


def variables(patterns: tuple[Pattern, ...]) -> set[str]:
    """The names that patterns bind."""
    return {v for p in patterns for v in (p.variable, p.relation_variable, p.place) if v.startswith("$")}


def check_rule(rule: Rule, messages: Messages) -> None:
    """Names: bound before used, none under `unless`; `fits` from plain facts only; alternatives bounded."""
    if count := too_many(rule):
        text = f"`{rule.id}` stands for {count} alternatives; at most {MAX_ALTERNATIVES}"
        messages.add("KN221", text, rule.span, next_step="split the rule, or conclude a derived fact first")
        return
    for group in rule.unless:
        if variables(group):
            step = "conclude a derived fact with it first"
            messages.add("KN217", "`unless` can bind no name", group[0].span, next_step=step)
    for effect in rule.then:
        used = {v for v in (*effect.subjects, effect.place) if v.startswith("$")}
        for choice in expand(rule):
            for name in sorted(used - variables(choice)):
                step = "bind it in every alternative of `when`"
                messages.add("KN218", f"`{name}` is not bound in `when`", effect.span, next_step=step)
        if effect.verb == "fits" and any(p.kind != "fact" for choice in expand(rule) for p in choice):
            messages.add(
                "KN219", "`fits` may rest on plain facts only", effect.span, next_step="use fact patterns"
            )
    if rule.strength == "inherited" and not all(
        any(p.kind in ("derived", "severity", "planned") for p in choice) for choice in expand(rule)
    ):
        step = "state the strength, or rest on a derived fact"
        messages.add("KN220", f"`{rule.id}` inherits a strength from nothing", rule.span, next_step=step)


def expand(rule: Rule) -> list[tuple[Pattern, ...]]:
    """The conjunctions a rule's `when` stands for, in written order."""
    groups = [item if isinstance(item, tuple) else ((item,),) for item in rule.when]
    return [tuple(p for part in choice for p in part) for choice in product(*groups)]


def too_many(rule: Rule) -> int:
    """How many alternatives a rule has when that is beyond the bound, else 0."""
    count = 1
    for item in rule.when:
        count *= len(item) if isinstance(item, tuple) else 1
    return count if count > MAX_ALTERNATIVES else 0


def read_scenarios(tree: Tree, messages: Messages) -> list[Scenario]:
    """All scenarios of a file; their facts are checked when they are turned into cases."""
    found = []
    for i, raw in enumerate(tree.value.get("scenarios") or []):
        must = raw.get("must", {})
        found.append(
            Scenario(
                name=raw["name"],
                given=raw["given"],
                fires=tuple(raw.get("fires", [])),
                nearly=raw.get("nearly", {}),
                must=must if isinstance(must, dict) else dict.fromkeys(must, ""),
                must_not=raw.get("must_not", {}),
                held=raw.get("held", {}),
                void=raw.get("void", {}),
                plan_is={k: tuple(map(str, as_list(v))) for k, v in raw.get("plan_is", {}).items()},
                severity=raw.get("severity"),
                span=tree.at("scenarios", i, "name"),
            )
        )
    return found
