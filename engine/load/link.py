"""Linking: stack the rules, expand them, sort them into strata, and refuse what could not be trusted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from graphlib import CycleError, TopologicalSorter

from ..diagnostics.message import Culprit, Messages
from ..diagnostics.nearest import nearest
from ..model.answers import DATE_FACT
from ..model.catalogue import FactSpec, Test, after_ids
from ..model.program import PackId, Program
from ..model.record import replace
from ..model.rule import Alternative, Pattern, Rule, Scenario
from .bounds import Bounds
from .catalogues import Catalogues
from .rules import expand
from .strata import stratify
from .values import number
from .vocabulary import check_facts


def link(
    packs: tuple[PackId, ...],
    names: Catalogues,
    rules: Sequence[Rule],
    scenarios: Sequence[Scenario],
    applies: Mapping[str, tuple[Pattern, ...]],
    messages: Messages,
) -> Program | None:
    """One program from all packs, or None with messages."""
    names.facts[DATE_FACT] = FactSpec(
        DATE_FACT, "date of the case", "", "date", {}, {}, "", ("vehicle",), (), (), ()
    )
    check_facts(names, messages)
    standing, overridden, former = _stack(rules, applies, messages)
    _check_order(names, messages)
    by_law = frozenset(s for r in standing.values() for e in r.then if e.verb == "fits" for s in e.subjects)
    alternatives, bounds = [], Bounds(names, messages)
    for rule in standing.values():
        if rule.status == "active":
            alternatives += _alternatives(rule, applies.get(rule.pack, ()), by_law, bounds)
    bounds.judge()
    strata = stratify(alternatives, messages)
    if messages.errors or strata is None:
        return None
    return Program(
        packs=packs,
        facts=names.facts,
        derived=names.derived,
        systems=names.systems,
        parts=names.parts,
        operations=names.operations,
        phases=names.phases,
        preconditions=names.preconditions,
        cautions=names.cautions,
        events=names.events,
        sources=names.sources,
        impossible=names.impossible,
        implied=names.implied,
        rules=standing,
        overridden=overridden,
        former=former,
        alternatives=tuple(replace(a, stratum=strata[a.id]) for a in alternatives),
        strata=1 + max(strata.values(), default=0),
        labour=names.labour,
        limits=names.limits,
        limit_spans=names.limit_spans,
        scenarios=tuple(scenarios),
    )


def _stack(
    rules: Sequence[Rule], applies: Mapping[str, tuple[Pattern, ...]], messages: Messages
) -> tuple[dict[str, Rule], dict[str, Rule], dict[str, Rule]]:
    """Rules by id after later packs replaced or withdrew earlier ones; who overrode which id; what stood there."""
    standing: dict[str, Rule] = {}
    overridden: dict[str, Rule] = {}
    written = {rule.id: rule for rule in reversed(rules)}  # of two with one id the first stands
    for rule in rules:
        target = rule.replaces or rule.withdraws
        if rule.id in standing:
            first = Culprit(standing[rule.id].span, "first here")
            step = "give it an id of its own, and `replace:` if it takes the other's place"
            text = f"two rules are called `{rule.id}`"
            messages.add("KN227", text, Culprit(rule.span, "again here"), first, next_step=step)
            continue
        if target and applies.get(rule.pack):
            step = "move it to a pack without `applies`"
            messages.add(
                "KN228", "a pack that applies only sometimes cannot replace rules", rule.span, next_step=step
            )
        if target:
            _override(rule, target, standing, overridden, messages)
        if not rule.withdraws:
            standing[rule.id] = rule
    return standing, overridden, {id_: written[id_] for id_ in overridden}


def _override(
    rule: Rule, target: str, standing: dict[str, Rule], overridden: dict[str, Rule], messages: Messages
) -> None:
    if target in overridden:
        other = Culprit(overridden[target].target, "and here")
        text = f"two rules replace or withdraw `{target}`"
        step = "keep one, or let one replace the other"
        messages.add("KN229", text, Culprit(rule.target, "here"), other, next_step=step)
    elif target not in standing:
        hint = "" if messages.enough else nearest(target, standing)
        text = f"there is no earlier rule `{target}`"
        messages.add("KN201", text, rule.target, nearest=hint, next_step="name a rule of a lower pack")
    elif standing[target].pack == rule.pack:
        text = f"`{target}` is of the same pack"
        messages.add("KN229", text, rule.target, standing[target].span, next_step="edit that rule instead")
    else:
        overridden[target] = rule
        del standing[target]


def _alternatives(
    rule: Rule, head: tuple[Pattern, ...], by_law: frozenset[str], bounds: Bounds
) -> list[Alternative]:
    choices, found = expand(rule), []
    if not bounds.room_for(rule, choices):
        return []
    for i, choice in enumerate(choices):
        patterns = (*choice, *head, *_dates(rule))
        alternative = Alternative(
            id=rule.id if len(choices) == 1 else f"{rule.id}#{i}",
            rule=rule,
            ground=tuple(p for p in patterns if not is_record(p, by_law)),
            records=tuple(p for p in patterns if is_record(p, by_law)),
            unless=rule.unless,
            effects=rule.then,
            stratum=0,
        )
        bounds.count(alternative)
        found.append(alternative)
    return found


def _dates(rule: Rule) -> list[Pattern]:
    """A rule's validity is a test of the case's own date."""
    found = []
    for day, op in ((rule.valid_from, "at_least"), (rule.valid_until, "below")):
        if day:
            found.append(Pattern("fact", (DATE_FACT,), test=Test(op, (number(day),)), span=rule.span))
    return found


def is_record(pattern: Pattern, by_law: frozenset[str]) -> bool:
    """True for patterns that range over records; the others ask one question of the case."""
    if pattern.kind in ("fact", "method"):
        return bool(pattern.place)
    if pattern.kind == "fitted" and by_law:
        return not pattern.subjects or not by_law.isdisjoint(pattern.subjects)
    if pattern.kind in ("fitted", "code", "procedure"):
        return bool(pattern.variable)
    return True


def _check_order(names: Catalogues, messages: Messages) -> None:
    """`after` among operations must have no ring."""
    graph = {op.id: after_ids(names.operations, op.id) for op in names.operations.values()}
    try:
        tuple(TopologicalSorter(graph).static_order())
    except CycleError as error:
        ring = error.args[1]
        spans = [Culprit(names.operations[o].span, "in the ring") for o in dict.fromkeys(ring)]
        text = f"operations wait for each other: {' -> '.join(ring)}"
        messages.add("KN230", text, *spans, next_step="take one `after` out")
