"""What a pack names and nothing uses: it misleads whoever reads the pack, or a rule was forgotten."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from ..diagnostics.message import Culprit, Message
from ..load.rules import expand
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
Row = tuple[str, Mapping[str, Any], frozenset[str], str, str]


def unused(program: Program) -> Iterator[Message]:
    """Operations, systems, facts, derived facts, events and sources that nothing asks for, reads or cites."""
    named = _named(program)
    for code, shelf, used, says, step in _rows(program):
        for item in shelf.values():
            if item.id not in used:
                culprits = (Culprit(item.span), *(Culprit(s, "named here") for s in named.get(item.id, ())))
                text = says.format(f"`{item.id}` ({item.title})")
                yield Message(code, text, culprits, next_step=f"{step}, or take it out", level="warning")


def _rows(program: Program) -> Iterable[Row]:
    """Code, catalogue, what of it is used, what to say of the rest, what to do."""
    patterns = _patterns(program)
    planned, concluded = _made(program, "plan"), _made(program, "conclude")
    systems = {s for p in patterns for s in (*_systems(p), *p.systems)} | _made(program, "fits")
    systems |= {s for o in planned & set(program.operations) for s in program.operations[o].systems}
    facts = _subjects(patterns, "fact") | _read_elsewhere(program) | OWN_FACTS
    read = _subjects(patterns, "derived")
    # what a `when` waits for in vain is reported with the rule that can never fire
    waited_for = _subjects([p for a in program.alternatives for p in (*a.ground, *a.records)], "derived")
    unread = frozenset(program.derived) & concluded - read
    events = frozenset(e for o in program.operations.values() for e in o.void_by)
    cited = {c.source for r in (*program.rules.values(), *program.overridden.values()) for c in r.source}
    cited |= {p.test.figure.partition(".")[0] for p in patterns if p.test}
    return (
        ("KN402", program.sources, frozenset(cited), "no rule cites {} or uses a figure of it", "cite it"),
        ("KN420", program.operations, planned, "no rule asks for {}", "write the rule that does"),
        (
            "KN421",
            program.systems,
            frozenset(systems),
            "nothing that is planned concerns {}",
            "write a rule for it",
        ),
        (
            "KN422",
            program.facts,
            facts,
            "no rule reads {}, so people are asked in vain",
            "write the rule that does",
        ),
        (
            "KN423",
            program.derived,
            concluded | waited_for,
            "no rule concludes {}",
            "write the rule that does",
        ),
        (
            "KN424",
            program.derived,
            frozenset(program.derived) - unread,
            "no rule reads {}",
            "read it in a rule",
        ),
        ("KN425", program.events, events, "{} voids no operation", "name it in `void_by` of what it undoes"),
    )


def _patterns(program: Program) -> list[Pattern]:
    """Every pattern of a rule, drafts too, and the conditions of whole packs."""
    rules = program.rules.values()
    found = {p: None for r in rules for group in (*expand(r), *r.unless) for p in group}
    return [*found, *(p for a in program.alternatives for p in a.ground if p not in found)]


def _subjects(patterns: Iterable[Pattern], kind: str) -> frozenset[str]:
    return frozenset(s for p in patterns if p.kind == kind for s in p.subjects)


def _made(program: Program, verb: str) -> frozenset[str]:
    """What the rules plan, conclude or fit, by name."""
    return frozenset(s for r in program.rules.values() for e in r.then if e.verb == verb for s in e.subjects)


def _systems(pattern: Pattern) -> tuple[str, ...]:
    if pattern.kind in ("fitted", "code", "method"):
        return pattern.subjects
    return tuple(str(v) for v in pattern.test.values) if pattern.kind == "fact" and pattern.test else ()


def _named(program: Program) -> dict[str, list[Span]]:
    """Where rules name a thing all the same: in a condition, or to hold, drop or void it."""
    effects = [(e.subjects, e.span) for r in program.rules.values() for e in r.then]
    found: dict[str, list[Span]] = {}
    for subjects, span in (*((p.subjects, p.span) for p in _patterns(program)), *effects):
        for subject in subjects:
            found.setdefault(subject, []).append(span)
    return found


def _read_elsewhere(program: Program) -> frozenset[str]:
    """Facts that decide what is assumed of another, what follows, or what cannot be."""
    assumed = {fact for spec in program.facts.values() for a in spec.assume for fact, _ in a.when}
    tests = [t for i in program.impossible for t in i.tests] + [t for i in program.implied for t in i.tests]
    return frozenset(assumed | {id_ for kind, id_, _ in tests if kind == "fact"})
