"""What a pack names and nothing uses: it misleads whoever reads the pack, or a rule was forgotten."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ..diagnostics.message import Culprit, Message
from ..model.program import Program
from ..model.rule import Pattern
from ..model.span import Span

# Facts the program itself reads: dates and parts lists, the drawing of the vehicle, the vehicle number.
OWN_FACTS = frozenset(
    (
        "case_date",
        "parts_final",
        "scan_pre_state",
        "zone",
        "area",
        "force_clock",
        "market",
        "model_year",
        "gvwr_kg",
    )
)


def unused(program: Program) -> Iterator[Message]:
    """Operations, systems, facts, derived facts, events and sources that nothing asks for, reads or cites."""
    patterns = [p for r in program.rules.values() for p in _written(r.when, r.unless)]
    patterns += [
        p for a in program.alternatives for p in a.ground
    ]  # the condition of a pack stands only there
    planned = _subjects(program, "plan")
    for operation in program.operations.values():
        if operation.id not in planned:
            others = [Culprit(s, "named here") for s in _named(program, operation.id)]
            text = f"no rule asks for `{operation.id}` ({operation.title})"
            yield _finding(
                "KN420", text, operation.span, others, "write the rule that asks for it, or take it out"
            )
    mentioned = {s for p in patterns for s in (*_systems_of(p), *p.systems)}
    mentioned |= {s for o in planned & set(program.operations) for s in program.operations[o].systems}
    for system in program.systems.values():
        if system.id not in mentioned | _subjects(program, "fits"):
            text = f"no rule mentions `{system.id}` ({system.title}), and no planned operation concerns it"
            yield _finding(
                "KN421", text, system.span, (), "write the rule that looks after it, or take it out"
            )
    read = {s for p in patterns if p.kind == "fact" for s in p.subjects} | _read_elsewhere(program)
    for fact in program.facts.values():
        if fact.id not in read | OWN_FACTS:
            text = f"no rule reads `{fact.id}` ({fact.title}), so its answer changes nothing"
            yield _finding("KN422", text, fact.span, (), "write the rule that reads it, or do not ask for it")
    yield from _derived(program, patterns)
    voiding = {e for o in program.operations.values() for e in o.void_by}
    for event in program.events.values():
        if event.id not in voiding:
            text = f"`{event.id}` ({event.title}) voids no operation"
            yield _finding(
                "KN425", text, event.span, (), "name it in `void_by` of what it undoes, or take it out"
            )
    yield from _sources(program, patterns)


def _derived(program: Program, patterns: list[Pattern]) -> Iterator[Message]:
    """A derived fact that a `when` waits for in vain is reported with the rule that can never fire."""
    concluded = _subjects(program, "conclude")
    read = {s for p in patterns if p.kind == "derived" for s in p.subjects}
    waited_for = {s for a in program.alternatives for p in (*a.ground, *a.records) for s in p.subjects}
    for derived in program.derived.values():
        readers = [
            Culprit(p.span, "read here") for p in patterns if p.kind == "derived" and derived.id in p.subjects
        ]
        if derived.id not in concluded | waited_for:
            text = f"no rule concludes `{derived.id}` ({derived.title})"
            yield _finding(
                "KN423", text, derived.span, readers, "write the rule that concludes it, or take it out"
            )
        elif derived.id not in read:
            text = f"no rule reads `{derived.id}` ({derived.title})"
            yield _finding("KN424", text, derived.span, (), "write the rule that needs it, or take it out")


def _sources(program: Program, patterns: list[Pattern]) -> Iterator[Message]:
    rules = (*program.rules.values(), *program.overridden.values())
    used = {c.source for r in rules for c in r.source}
    used |= {p.test.figure.partition(".")[0] for p in patterns if p.test}
    for source in program.sources.values():
        if source.id not in used:
            text = f"no rule cites `{source.id}` ({source.title}) or uses a figure of it"
            yield _finding("KN402", text, source.span, (), "cite it where it is followed, or take it out")


def _finding(code: str, text: str, span: Span, others: Iterable[Culprit], step: str) -> Message:
    return Message(code, text, (Culprit(span), *others), next_step=step, level="warning")


def _written(when: Iterable[object], unless: Iterable[tuple[Pattern, ...]]) -> Iterator[Pattern]:
    for item in when:
        yield from (p for choice in item for p in choice) if isinstance(item, tuple) else (item,)  # type: ignore[misc]
    for group in unless:
        yield from group


def _subjects(program: Program, verb: str) -> set[str]:
    """What the rules plan, conclude or fit, by name."""
    return {s for r in program.rules.values() for e in r.then if e.verb == verb for s in e.subjects}


def _systems_of(pattern: Pattern) -> tuple[str, ...]:
    if pattern.kind in ("fitted", "code", "method"):
        return pattern.subjects
    return tuple(str(v) for v in pattern.test.values) if pattern.kind == "fact" and pattern.test else ()


def _named(program: Program, operation: str) -> list[Span]:
    rules = program.rules.values()
    return [
        e.span
        for r in rules
        for e in r.then
        if e.verb in ("hold", "drop", "void") and operation in e.subjects
    ]


def _read_elsewhere(program: Program) -> set[str]:
    """Facts that decide what is assumed of another, what follows, or what cannot be."""
    read = {fact for spec in program.facts.values() for a in spec.assume for fact, _ in a.when}
    tests = [t for i in program.impossible for t in i.tests] + [t for i in program.implied for t in i.tests]
    return read | {id_ for kind, id_, _ in tests if kind == "fact"}
