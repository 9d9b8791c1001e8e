"""From alternatives to the first engine's rule set, inside the part of its language that was verified.

What that part is, and why: conditions are flat conjunctions of equalities; each begins with a bucket and a kind;
more than twenty conditions on one kind are fanned out by tests that are always true; every join ends with a test
that is always true; facts may meet two conditions of one rule (`dist` 0). Anything else loses firings, fires
wrongly or corrupts memory, in silence.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence

from ..diagnostics.message import InputError, Messages
from ..model.program import Program
from ..model.record import dataclass
from ..model.rule import Alternative, Pattern
from .encode import CHUNK
from .markers import Markers, number_of, number_questions, number_records

FAN = 20
MAX_RULES = 4000
MAX_CONDITIONS = 16
MAX_JOINS = 28
PER_PARENT = 480
WARM = "__w"


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition: the kind of record, the properties it must carry, and (own, alias, theirs) joins."""

    kind: str
    marks: tuple[str, ...]
    joins: tuple[tuple[str, str, str], ...]
    needs: tuple[str, ...]


@dataclass(slots=True)
class Compiled:
    """A rule set in the engine's language, and how to speak to it."""

    text: str
    buckets: dict[str, str]
    kinds: frozenset[str]
    markers: Markers
    aliases: dict[str, tuple[int, ...]]
    lengths: dict[str, int]


def kind_of(pattern_kind: str, subject: str) -> str:
    """The engine's kind for a record: one per derived fact and severity level, else one per record kind."""
    return f"{pattern_kind}:{subject}" if pattern_kind in ("derived", "severity") else pattern_kind


def conjunction_kind(number: int) -> str:
    """Conjunctions share wide records of at most CHUNK properties."""
    return f"case:{number // CHUNK}"


def late_kind(stratum: int) -> str:
    """The record that says which `unless` groups of a stratum stayed empty."""
    return f"clear:{stratum}"


def compile_program(program: Program) -> Compiled:
    """Compile all of it; InputError at the rule when a limit of the verified part is passed."""
    return compile_rules(program.alternatives, number_questions(program))


def compile_rules(alternatives: Sequence[Alternative], markers: Markers) -> Compiled:
    """Compile some alternatives of the program whose questions are numbered."""
    number_records(alternatives, markers)
    conditions = {a.id: _conditions(a, markers) for a in alternatives}
    per_kind = Counter(c.kind for cs in conditions.values() for c in cs)
    kinds = sorted(per_kind)
    count = max(1, int(len(kinds) ** 0.5))
    buckets = {kind: f"b{i % count}" for i, kind in enumerate(kinds)}
    _check_limits(alternatives, conditions, per_kind, buckets)
    heads = {kind: f'{{"kb":"{buckets[kind]}"}},{{"k":{json.dumps(kind)}}}' for kind in kinds}
    used: Counter[str] = Counter()
    rules, aliases = [], {}
    for a in alternatives:
        rules.append(_rule(a, conditions[a.id], per_kind, heads, used))
        first = len(conditions[a.id]) - len(a.records)
        aliases[a.id] = tuple(range(first, len(conditions[a.id])))
    rules.append(f'"{WARM}":{{"all":[{{"m":{{"$and":[{{"kb":"{WARM}"}},{{"k":"{WARM}"}}]}}}}],"dist":0}}')
    text = "{" + ",".join(rules) + "}"
    _check_names(alternatives, {p for cs in conditions.values() for c in cs for p in c.marks})
    lengths = {id_: len(found) for id_, found in conditions.items()}
    return Compiled(text, buckets, frozenset(kinds), markers, aliases, lengths)


def within_limits(program: Program) -> bool:
    """Whether it is clear without compiling that all of a program passes the limits, so that a part of it may do."""
    records = [a.records for a in program.alternatives]
    return (
        len(records) <= MAX_RULES
        and sum(map(len, records)) <= FAN**3
        and max(map(len, records), default=0) + 2
        <= MAX_CONDITIONS  # and what holds of the whole case, early and late
        and all(len(set(names)) == len(names) for rs in records for p in rs if (names := _names(p)))
    )


def _names(pattern: Pattern) -> list[str]:
    return [n for n in (pattern.variable, pattern.relation_variable, pattern.place) if n[:1] == "$"]


def _conditions(a: Alternative, markers: Markers) -> list[Condition]:
    found: list[Condition] = []
    body = markers.conjunctions.get(a.id)
    if not a.records and body is not None:
        number = markers.alone[body]
        found.append(Condition(conjunction_kind(number), (f"g{number}",), (), ()))
    elif not a.records:
        found.append(Condition("always", (), (), ()))
    if a.id in markers.late:
        number = markers.late[a.id]
        found.append(Condition(late_kind(a.stratum), (f"u{number}",), (), ()))
    owner: dict[str, tuple[int, str]] = {}
    needed: dict[int, set[str]] = {}
    first = len(found)
    for i, pattern in enumerate(a.records):
        joins = []
        for name, own in ((pattern.variable, "s"), (pattern.relation_variable, "x"), (pattern.place, "p")):
            if not name.startswith("$"):
                continue
            if name in owner:
                there, theirs = owner[name]
                joins.append((own, f"c{there}", theirs))
                needed.setdefault(there, set()).add(theirs)
            else:
                owner[name] = (first + i, own)
        mark = f"t{markers.carried[number_of(pattern, markers)][None if i else body]}"
        found.append(Condition(_kind(pattern), (mark,), tuple(joins), ()))
    return [
        Condition(c.kind, c.marks, c.joins, tuple(sorted(needed.get(i, ())))) for i, c in enumerate(found)
    ]


def _kind(pattern: Pattern) -> str:
    if pattern.kind in ("derived", "severity"):
        return kind_of(pattern.kind, pattern.subjects[0])
    return f"{pattern.kind}+" if pattern.relation_variable else pattern.kind


def _rule(
    a: Alternative,
    conditions: list[Condition],
    per_kind: Counter[str],
    heads: dict[str, str],
    used: Counter[str],
) -> str:
    parts = []
    for i, c in enumerate(conditions):
        nth = used[c.kind]
        used[c.kind] += 1
        tests = [heads[c.kind]]
        if per_kind[c.kind] > FAN * FAN:
            tests.append(f'{{"$lt":{{"_":{1000 + nth // (FAN * FAN)}}}}}')
        if per_kind[c.kind] > FAN:
            tests.append(f'{{"$lt":{{"_":{2000 + nth // FAN % FAN}}}}}')
        tests += [f'{{"$ex":{{"{p}":1}}}}' for p in c.needs]
        tests += [f'{{"{mark}":1}}' for mark in c.marks]
        tests += [f'{{"{own}":{{"{alias}":"{theirs}"}}}}' for own, alias, theirs in c.joins]
        if c.joins:
            tests.append('{"_":{"c0":"_"}}')
        parts.append(f'{{"c{i}":{{"$and":[{",".join(tests)}]}}}}')
    return f'{json.dumps(a.id)}:{{"all":[{",".join(parts)}],"dist":0}}'


def _check_limits(
    alternatives: Sequence[Alternative],
    conditions: dict[str, list[Condition]],
    per_kind: Counter[str],
    buckets: dict[str, str],
) -> None:
    messages = Messages()
    for a in alternatives:
        found = conditions[a.id]
        if len(found) > MAX_CONDITIONS or any(len(c.joins) >= MAX_JOINS for c in found):
            text = f"`{a.rule.id}` needs {len(found)} conditions; at most {MAX_CONDITIONS}"
            messages.add(
                "KN240", text, a.rule.span, next_step="conclude a derived fact from some of them first"
            )
        if any(alias == f"c{i}" for i, c in enumerate(found) for _, alias, _ in c.joins):
            text = f"`{a.rule.id}` uses one name for two things in one pattern"
            messages.add("KN240", text, a.rule.span, next_step="give each a name of its own")
        for c in found:
            if per_kind[c.kind] > FAN**3:
                text = f"more than {FAN**3} conditions look at `{c.kind}`"
                messages.add("KN240", text, a.rule.span, next_step="use fewer, larger rules")
    children = Counter(buckets.values())
    if len(alternatives) > MAX_RULES or max(children.values(), default=0) > PER_PARENT:
        spans = [alternatives[-1].rule.span] if alternatives else []
        text = f"{len(alternatives)} rules after expansion; at most {MAX_RULES}"
        messages.add("KN240", text, *spans, next_step="split the packs")
    if messages.errors:
        raise InputError(messages)


def fnv(name: str) -> int:
    """The engine's own 32-bit hash of a property name: equal hashes are the same property to it."""
    h = 0x811C9DC5
    for c in name.encode():
        h = ((h ^ (c if c < 128 else c - 256)) * 16777619) & 0xFFFFFFFF
    return h


def _check_names(alternatives: Sequence[Alternative], marks: set[str]) -> None:
    seen: dict[int, str] = {}
    reserved = {"k", "kb", "_", "s", "p", "x", "id", "sid", "$s", "$forward", "$m"}
    for name in sorted(marks | reserved):
        other = seen.setdefault(fnv(name), name)
        if other != name:
            messages = Messages()
            text = f"the engine cannot tell the properties `{name}` and `{other}` apart"
            messages.add("KN240", text, alternatives[0].rule.span, next_step="report this; reorder rules")
            raise InputError(messages)
