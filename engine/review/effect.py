"""What a change of packs does to the plan of a case, and which rules made each difference."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from ..diagnostics.message import InputError
from ..infer.check import matches
from ..infer.lacking import settled
from ..infer.lines import Found, LineFound, LineId, find_lines
from ..infer.made import effects
from ..infer.run import infer
from ..load.cache import program_of
from ..measure.standing import settle
from ..model.case import Case
from ..model.outcome import (
    BIT,
    FIRM,
    OPPOSITE,
    POSSIBLE,
    PROVISIONAL,
    STANDINGS,
    Firing,
    Outcome,
    Record,
)
from ..model.places import meets
from ..model.program import Program, alternatives_by_id
from ..model.record import dataclass, field_names, is_dataclass
from ..model.rule import STRENGTHS, Alternative, Pattern, strongest
from ..plan.progress import line_id
from .batch import Work
from .cases import Item, case_of, first_problem, read_item

ASKS_LESS = ("lost", "weaker", "not_held", "not_void", "less_firm")
KINDS = (*ASKS_LESS, "held", "void", "added", "stronger", "firmer", "not_possible", "possible")
MADE = ("derived", "severity", "planned", "fitted")
VOCABULARY = "vocabulary"
SHELVES = ("facts", "derived", "systems", "parts", "operations", "events", "impossible", "implied")
Makers = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Change:
    """One line that differs: the kind of difference (KINDS), how it was, how it is, and what made it so.

    A cause is a rule's id, or `vocabulary` with the entry that changed after a space where that is known.
    """

    kind: str
    line: str
    was: str
    now: str
    causes: tuple[str, ...]


class Pair:
    """Two programs, and what differs between them."""

    def __init__(self, old: Program, new: Program) -> None:
        self.old, self.new = old, new
        before, after = _signatures(old), _signatures(new)
        self.edited = {r for r in before.keys() | after.keys() if before.get(r) != after.get(r)}
        self.reworded = {
            id_ for shelf in SHELVES for id_ in _differing(getattr(old, shelf), getattr(new, shelf))
        }
        self.dropped = {a.id: a for a in old.alternatives if a.rule.id in self.edited}
        self.suspects = [a for a in new.alternatives if a.rule.id in self.edited]

    def changes(self, case: Case, other: Case) -> list[Change]:
        """What differs for one case, read once with each program; most severe first."""
        outcome = infer(self.old, case)
        if not self.reworded and not outcome.contradictions and self._untouched(case, outcome):
            return []
        before = Side(self.old, case, outcome)
        after = Side(self.new, other, infer(self.new, other))
        found = list(_Comparison(self, before, after).changes())
        return sorted(found, key=lambda c: (rank(c.kind, c.was, c.now), c.line))

    def _untouched(self, case: Case, outcome: Outcome) -> bool:
        """Whether the edited rules derive exactly what they derived, from the same; then all is as it was."""
        world = settled(self.new, case, outcome)
        now = [(a, f, mask) for a in self.suspects for f, _, mask in matches(a, world)]
        for standing in STANDINGS:
            fired = (f for f in outcome[standing].firings if f.alternative in self.dropped)
            before = {_derivation(self.dropped[f.alternative], f, self.old) for f in fired}
            if before != {_derivation(a, f, self.new) for a, f, mask in now if mask & BIT[standing]}:
                return False
        return True


def _derivation(a: Alternative, firing: Firing, program: Program) -> tuple[object, ...]:
    """What a firing made, how strongly, and from which made records."""
    rests_on = frozenset(r for r in firing.records if r.kind in MADE)
    return rests_on, tuple(sorted(effects(a, firing.records, program))), a.rule.strength


def rank(kind: str, was: str, now: str) -> tuple[int, int]:
    """Smaller is more severe: kinds in their order, the strongest lines first."""
    strengths = [STRENGTHS.index(s) for s in (was, now) if s in STRENGTHS]
    return KINDS.index(kind), -max(strengths, default=0)


def effect_work(old: tuple[str, ...], new: tuple[str, ...]) -> Work:
    """For a Job: compare each case under two stacks of pack folders.

    The value of a case is its id and either its `changes`, or `only`: the one side that can still read it.
    """
    pair = Pair(program_of([Path(p) for p in old]), program_of([Path(p) for p in new]))

    def work(item: Item) -> dict[str, Any]:
        tree = read_item(item)
        before = _readable(tree, pair.old)
        after = before if not pair.reworded else _readable(tree, pair.new)
        if isinstance(before, InputError) and isinstance(after, InputError):
            raise before
        if isinstance(before, InputError):
            return {"only": "new", "why": first_problem(before)}
        if isinstance(after, InputError):
            return {"case": before.id, "only": "old", "why": first_problem(after)}
        changes = [[c.kind, c.line, c.was, c.now, list(c.causes)] for c in pair.changes(before, after)]
        return {"case": before.id, "changes": changes}

    return work


def _readable(tree: Any, program: Program) -> Case | InputError:
    try:
        return settle(case_of(tree, program), program)
    except InputError as error:
        return error


def _signatures(program: Program) -> dict[str, Any]:
    """What each rule does, without what it says about itself."""
    found: dict[str, Any] = {}
    for a in program.alternatives:
        effects = tuple((e.verb, e.subjects, e.place) for e in a.effects)
        found.setdefault(a.rule.id, []).append((a.ground, a.records, a.unless, effects, a.rule.strength))
    return found


def _differing(old: Any, new: Any) -> Iterator[str]:
    """The ids of the entries of one catalogue that are not the same in both."""
    if not isinstance(old, Mapping):
        old, new = ({entry.title: entry for entry in entries} for entries in (old, new))
    for id_ in old.keys() | new.keys():
        if _bare(old.get(id_)) != _bare(new.get(id_)):
            yield id_


def _bare(value: Any) -> Any:
    """An entry without the place where it is written."""
    if is_dataclass(value):
        return tuple(_bare(getattr(value, name)) for name in field_names(value) if name != "span")
    if isinstance(value, Mapping):
        return tuple((key, _bare(item)) for key, item in value.items())
    return tuple(_bare(item) for item in value) if isinstance(value, tuple) else value


class Side:
    """A case under one of the two programs."""

    def __init__(self, program: Program, case: Case, outcome: Outcome) -> None:
        self.program, self.case = program, case
        self.found: Found = find_lines(program, case, outcome)
        self.by_id = alternatives_by_id(program)

    def line(self, key: LineId) -> LineFound | None:
        """The line, if it is more than possible."""
        line = self.found.lines.get(key)
        return line if line is not None and line.standing != POSSIBLE else None

    def strength(self, record: Record, standing: str) -> str:
        """How strongly a record was made; '' when it was not."""
        return self.found.strengths[standing].records.get(record, "")

    def makers(self, record: Record, standing: str) -> Mapping[Firing, str]:
        """The firings that made a record, each with its strength."""
        strengths = self.found.strengths[standing]
        return {f: strengths.of(f, self.by_id[f.alternative].rule) for f in strengths.makers.get(record, ())}

    def rules(self, record: Record, standing: str) -> Makers:
        """The rules that made a record, each at its strongest."""
        found: dict[str, str] = {}
        for firing, strength in self.makers(record, standing).items():
            rule = firing.alternative.partition("#")[0]
            found[rule] = strongest(strength, found.get(rule, STRENGTHS[0]))
        return found


class _Comparison:
    """The differences between two sides, each traced back to the rules that made it."""

    def __init__(self, pair: Pair, old: Side, new: Side) -> None:
        self.pair, self.old, self.new = pair, old, new

    def changes(self) -> Iterator[Change]:
        for key in sorted(self.old.found.lines.keys() | self.new.found.lines.keys()):
            yield from self._line(key)
            if self.old.line(key) and self.new.line(key):
                yield from self._marks(key)

    def _line(self, key: LineId) -> Iterator[Change]:
        was, now = self.old.line(key), self.new.line(key)
        maybe = [key in side.found.lines for side in (self.old, self.new)]
        if was and not now:
            yield self._change("lost", key, was.strength, POSSIBLE if maybe[1] else "", PROVISIONAL)
        elif now and not was:
            yield self._change("added", key, POSSIBLE if maybe[0] else "", now.strength, PROVISIONAL)
        elif was and now and was.strength != now.strength:
            kind = "weaker" if STRENGTHS.index(now.strength) < STRENGTHS.index(was.strength) else "stronger"
            yield self._change(kind, key, was.strength, now.strength, PROVISIONAL)
        elif was and now and was.standing != now.standing:
            kind = "less_firm" if was.standing == FIRM else "firmer"
            yield self._change(kind, key, was.standing, now.standing, FIRM)
        elif maybe[0] != maybe[1]:
            kind = "possible" if maybe[1] else "not_possible"
            yield self._change(kind, key, POSSIBLE * maybe[0], POSSIBLE * maybe[1], POSSIBLE)

    def _marks(self, key: LineId) -> Iterator[Change]:
        """Holds and voids that came or went."""
        for mark, word in (("hold", "held"), ("void", "void")):
            record = Record(mark, *key)
            was, now = (bool(side.makers(record, PROVISIONAL)) for side in (self.old, self.new))
            if was != now:
                causes = tuple(sorted(self._causes(record, PROVISIONAL, set())))
                yield Change(word if now else f"not_{word}", line_id(key), word * was, word * now, causes)

    def _change(self, kind: str, key: LineId, was: str, now: str, first: str) -> Change:
        """Look for causes where the difference shows first, then in the other passes."""
        for standing in (first, *(s for s in STANDINGS if s != first)):
            opposite = OPPOSITE[standing]
            causes = self._causes(Record("planned", *key), standing, set())
            causes |= self._causes(Record("drop", *key), opposite, set())
            for system in self._systems(key[0]):
                causes |= self._causes(Record("fitted", system), standing, set())
            if causes:
                return Change(kind, line_id(key), was, now, tuple(sorted(causes)))
        return Change(kind, line_id(key), was, now, tuple(self._words((key[0], *self._systems(key[0])))))

    def _systems(self, operation: str) -> tuple[str, ...]:
        sides = [s.program.operations.get(operation) for s in (self.old, self.new)]
        return tuple(dict.fromkeys(system for op in sides if op for system in op.systems))

    def _causes(self, record: Record, standing: str, seen: set[tuple[Record, str]]) -> set[str]:
        """The edited rules at the root of a record's difference; what changed in the vocabulary otherwise."""
        if (record, standing) in seen:
            return set()
        seen.add((record, standing))
        was, now = self.old.rules(record, standing), self.new.rules(record, standing)
        causes: set[str] = set()
        for rule in sorted(was.keys() | now.keys()):
            if was.get(rule) == now.get(rule):
                continue
            causes |= {rule} if rule in self.pair.edited else self._upstream(rule, record, standing, seen)
        return causes

    def _upstream(self, rule: str, record: Record, standing: str, seen: set[tuple[Record, str]]) -> set[str]:
        """The same rule fired otherwise: because of what it rests on, or of what blocks it."""
        roots: set[tuple[Record, str]] = set()
        subjects: list[str] = []
        for side in (self.old, self.new):
            for firing in side.makers(record, standing):
                a = side.by_id[firing.alternative]
                if a.rule.id == rule:
                    subjects += [s for p in (*a.ground, *a.records) for s in p.subjects]
                    subjects += [s for r in firing.records for s in (r.subject, r.system)]
                    roots |= {(r, standing) for r in firing.records if r.kind in MADE}
                    roots |= self._blockers(a, OPPOSITE[standing])
        differing = sorted(root for root in roots if self._differs(*root))
        if not differing:
            return set(self._words(subjects))
        return {cause for root in differing for cause in self._causes(*root, seen)}

    def _blockers(self, a: Alternative, standing: str) -> set[tuple[Record, str]]:
        made = {r for side in (self.old, self.new) for r in side.found.strengths[standing].records}
        watched = [p for group in a.unless for p in group if p.kind in MADE]
        return {(r, standing) for r in made if any(_meets(p, r) for p in watched)}

    def _differs(self, record: Record, standing: str) -> bool:
        return self.old.strength(record, standing) != self.new.strength(record, standing)

    def _words(self, subjects: Iterable[str]) -> list[str]:
        named = sorted(self.pair.reworded.intersection(subjects))
        return [f"{VOCABULARY} {id_}" for id_ in named] or [VOCABULARY]


def _meets(pattern: Pattern, record: Record) -> bool:
    right = pattern.kind == record.kind and (not pattern.subjects or record.subject in pattern.subjects)
    return right and (not pattern.place or meets(pattern.place, record.place))
