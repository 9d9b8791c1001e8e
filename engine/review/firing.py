"""Rules that can never fire, and alternatives of a rule that can never hold or add nothing."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from ..diagnostics.message import Culprit, Message
from ..model.program import Program
from ..model.rule import Alternative, Pattern, Rule
from .implication import by_rule, contradiction, entails, group_entails, patterns, reach, whenever

MADE = {"derived": "concludes", "planned": "plans", "severity": "raises"}
Reason = tuple[str, tuple[Culprit, ...]]


def never_fire(program: Program) -> Iterator[Message]:
    """Every rule whose conditions no case can meet, and every alternative that is in vain."""
    dead = _dead(program)
    for alternatives in by_rule(program).values():
        rule = alternatives[0].rule
        if all(a.id in dead for a in alternatives):
            text, culprits = dead[alternatives[0].id]
            if len({dead[a.id][0] for a in alternatives}) > 1:
                text = f"none of its {len(alternatives)} alternatives can hold; in the first {text}"
            culprits = (Culprit(rule.span, "this rule"), *culprits)
            step = "correct the condition, or retire the rule"
            yield Message("KN410", f"`{rule.id}` can never fire: {text}", culprits, next_step=step)
        elif len(alternatives) > 1:
            yield from _branches(rule, alternatives, dead, program)


def _dead(program: Program) -> dict[str, Reason]:
    """Alternatives no case can meet, with the reason. What only dead ones make counts as never made."""
    dead = {a.id: reason for a in program.alternatives if (reason := _impossible(a, program))}
    made: set[tuple[str, str]] = set()
    waiting = [a for a in program.alternatives if a.id not in dead]
    growing = True
    while growing:
        ready = [a for a in waiting if not _missing(a, made)]
        waiting = [a for a in waiting if _missing(a, made)]
        before = len(made)
        made.update(node for a in ready for node in _makes(a, program))
        growing = len(made) > before
    for a in waiting:
        pattern = _missing(a, made)[0]
        what = " or ".join(f"`{s}`" for s in pattern.subjects)
        own = [program.derived[s].span for s in pattern.subjects] if pattern.kind == "derived" else []
        culprits = (
            Culprit(pattern.span, "asked for here"),
            *(Culprit(s, "never concluded") for s in own),
            *_taken_away(pattern, program),
        )
        dead[a.id] = (f"no rule that can fire {MADE[pattern.kind]} {what}", culprits)
    return dead


def _taken_away(pattern: Pattern, program: Program) -> Iterator[Culprit]:
    """The overriding rules of higher packs without which a lower one would still make it: the likely cause."""
    verb = {"derived": "conclude", "planned": "plan"}.get(pattern.kind, pattern.kind)
    for id_, former in program.former.items():
        if any(e.verb == verb and set(e.subjects) & set(pattern.subjects) for e in former.then):
            by = program.overridden[id_]
            yield Culprit(by.target, f"until `{by.id}` {'withdrew' if by.withdraws else 'replaced'} `{id_}`")


def _makes(a: Alternative, program: Program) -> Iterator[tuple[str, str]]:
    for effect in a.effects:
        for subject in effect.subjects:
            if effect.verb == "severity":
                yield from (("severity", str(n)) for n in range(1, int(subject) + 1))
            elif subject.startswith("$"):
                yield from (
                    ("planned", o) for p in a.records if p.variable == subject for o in reach(p, program)
                )
            else:
                yield ({"plan": "planned", "conclude": "derived"}.get(effect.verb, effect.verb), subject)


def _missing(a: Alternative, made: set[tuple[str, str]]) -> list[Pattern]:
    """The patterns of an alternative that need something nobody makes."""
    needs = [p for p in patterns(a) if p.kind in MADE and p.subjects]
    return [p for p in needs if not any((p.kind, s) in made for s in p.subjects)]


def _impossible(a: Alternative, program: Program) -> Reason | None:
    """Why the conditions of an alternative exclude each other; None when they do not."""
    group = patterns(a)
    if found := contradiction(group, program):
        title = program.facts[found[0].subjects[0]].title
        spans = tuple(Culprit(p.span, "excludes the other") for p in found)
        return f"no answer to `{found[0].subjects[0]}` ({title}) passes all its tests", spans
    for blocker in a.unless:
        if group_entails(group, blocker, program):
            spans = tuple(Culprit(p.span, "this always holds when the rule does") for p in blocker)
            return "its `unless` holds whenever its `when` does", spans
    for item in program.impossible:
        met = [_meets(group, kind, id_, program, test) for kind, id_, test in item.tests]
        if all(met):
            spans = tuple(Culprit(p.span, "one of them") for p in met if p)
            return f"its conditions exclude each other: {item.title}", (
                *spans,
                Culprit(item.span, "declared here"),
            )
    for p in group:
        if p.kind in ("touched", "damaged", "result") and not reach(p, program):
            what = (
                f"no part it names {p.relation} what it asks for"
                if p.relation
                else "no operation is of that kind"
            )
            return what, (Culprit(p.span, "this meets nothing"),)
    return None


def _meets(group: tuple[Pattern, ...], kind: str, id_: str, program: Program, test: object) -> Pattern | None:
    """The pattern of a conjunction that brings one answer of an impossible set."""
    wanted = Pattern(kind, (id_,), test=test)  # type: ignore[arg-type]
    return next(
        (p for p in group if p.kind == kind and p.subjects == (id_,) and entails(p, wanted, program)), None
    )


def _branches(
    rule: Rule, alternatives: list[Alternative], dead: dict[str, Reason], program: Program
) -> Iterator[Message]:
    """Each written choice of an `any`: in vain when it can never hold, or another always holds with it."""
    groups = [item for item in rule.when if isinstance(item, tuple)]
    chosen = dict(zip([a.id for a in alternatives], product(*(range(len(g)) for g in groups)), strict=True))
    for g, group in enumerate(groups):
        for c, choice in enumerate(group):
            mine = [a for a in alternatives if chosen[a.id][g] == c]
            rest = [a for a in alternatives if chosen[a.id][g] != c and a.id not in dead]
            at = (Culprit(rule.span, "this rule"), *(Culprit(p.span, "this alternative") for p in choice[:1]))
            if all(a.id in dead for a in mine):
                text, more = dead[mine[0].id]
                step = "correct the alternative, or take it out"
                text = f"an alternative of `{rule.id}` can never hold: {text}"
                yield Message("KN411", text, (*at, *more), next_step=step, level="warning")
            elif all(_idle(a, rest, program) for a in mine):
                step = "take it out, or make it ask for something of its own"
                text = f"an alternative of `{rule.id}` adds nothing: another one holds whenever it does"
                yield Message("KN412", text, at, next_step=step, level="warning")


def _idle(a: Alternative, rest: list[Alternative], program: Program) -> bool:
    names = {v for e in a.effects for v in (*e.subjects, e.place) if v.startswith("$")}
    found = (whenever(a, other, program) for other in rest)
    return any(m is not None and all(m.get(n) == n for n in names) for m in found)
