"""Two moments of one case compared: lines added, dropped, firmed, changed in strength or voided."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from ..explain.facts import Evidence, slot_id
from ..explain.roots import Roots
from ..model.case import Slot, State
from ..model.outcome import FIRM, POSSIBLE, PROVISIONAL, Firing, Record
from ..model.plan import PASSED, VOID, Line, ResultSeen, Support
from ..model.record import dataclass, field
from ..model.rule import Rule
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
    FactChange,
    PackChange,
    RuleChange,
    Supplement,
)
from .build import plan_of
from .undated import undated


@dataclass(frozen=True, slots=True)
class _Reasons:
    """What stands behind a difference: supports, and the answers and rules in them that differ."""

    supports: tuple[Support, ...] = ()
    slots: frozenset[Slot] = frozenset()
    rules: frozenset[str] = frozenset()

    def beside(self, other: _Reasons) -> _Reasons:
        """The supports of this with the differences of both."""
        return _Reasons(self.supports, self.slots | other.slots, self.rules | other.rules)


@dataclass(slots=True)
class _Comparison:
    """Both moments, the answers and the rules that differ between them."""

    before: Evidence
    after: Evidence
    answers: frozenset[Slot] = field(init=False)
    rules: dict[str, RuleChange] = field(init=False)

    def __post_init__(self) -> None:
        slots = {**self.before.case.slots, **self.after.case.slots}
        self.answers = frozenset(s for s in slots if _said(self.before, s) != _said(self.after, s))
        self.rules = {c.rule: c for c in _rule_changes(self.before, self.after)}

    def reasons(self, evidence: Evidence, firings: Iterable[Firing], standing: str = PROVISIONAL) -> _Reasons:
        """Of these firings the supports that rest on something that differs; all of them where none does."""
        other = self.before if evidence is self.after else self.after
        firings, roots = list(firings), Roots(evidence, other, standing)
        telling: dict[str, Support] = {}
        slots, rules = set[Slot](), set[str]()
        for firing in firings:
            rests_on, through = roots.of([firing])
            if rests_on & self.answers or through & set(self.rules):
                slots |= rests_on & self.answers
                rules |= through & set(self.rules)
                support = evidence.support(firing, standing)
                telling.setdefault(support.rule, support)
        if not telling:
            telling = {s.rule: s for s in (evidence.support(f, standing) for f in firings)}
        return _Reasons(tuple(telling[id_] for id_ in sorted(telling)), frozenset(slots), frozenset(rules))

    def fitted(self, evidence: Evidence, operation: str) -> _Reasons:
        """That a system the operation is for is known to be there now, or was."""
        slots = {("fitted", s) for s in evidence.program.operations[operation].systems} & self.answers
        return _Reasons(
            (), frozenset(s for s in slots if evidence.case.state(s).known == frozenset(("yes",)))
        )

    def facts(self, slots: Iterable[Slot]) -> tuple[FactChange, ...]:
        """Answers that differ, in words."""
        return tuple(self._fact(slot) for slot in sorted(slots))

    def _fact(self, slot: Slot) -> FactChange:
        knows = self.after if _in_vocabulary(self.after, slot) else self.before
        now = self.after.case.state(slot)
        was = self.before.case.state(slot)
        at = now if now.span.file else was
        return FactChange(
            slot_id(slot),
            knows.slot_title(slot),
            _words(knows, slot, was),
            _words(knows, slot, now),
            at.span,
            at.said_by,
        )

    def changed(
        self, kind: str, was: Line | None, now: Line | None, reasons: _Reasons, voided: str = ""
    ) -> Change:
        """One difference with its reasons in words."""
        line = now or was
        assert line is not None
        return Change(
            kind,
            line,
            was.strength if was else "",
            now.strength if now else "",
            was.standing if was else "",
            now.standing if now else "",
            reasons.supports,
            self.facts(reasons.slots),
            tuple(self.rules[id_] for id_ in sorted(reasons.rules)),
            voided,
        )


def supplement(before: Evidence, after: Evidence, before_name: str, after_name: str) -> Supplement:
    """What the later moment adds to and takes from the earlier one, each with what made the difference."""
    comparison = _Comparison(before, after)
    old = {line.id: line for line in plan_of(before, with_questions=False).lines if line.standing != POSSIBLE}
    new = {line.id: line for line in plan_of(after, with_questions=False).lines if line.standing != POSSIBLE}
    changes = [c for line in new.values() for c in _of_line(comparison, old.get(line.id), line)]
    changes += [_dropped(comparison, line) for id_, line in old.items() if id_ not in new]
    return Supplement(
        case=after.case.id,
        date=after.case.date,
        before=before_name,
        after=after_name,
        packs=tuple(_pack_changes(before, after)),
        changes=tuple(sorted(changes, key=lambda c: KINDS.index(c.kind))),
    )


def _of_line(comparison: _Comparison, was: Line | None, now: Line) -> Iterable[Change]:
    before, after, key = comparison.before, comparison.after, (now.operation, now.place)
    record, firings = Record("planned", *key), after.found.lines[key].firings
    if was is None:
        off = before.found.dropped.get(key)
        lifted = comparison.reasons(before, off.dropped) if off else _Reasons()
        reasons = comparison.reasons(after, firings).beside(lifted)
        yield comparison.changed(ADDED, was, now, reasons.beside(comparison.fitted(after, key[0])))
        return
    if was.strength != now.strength:
        held = before.found.strengths[PROVISIONAL].makers.get(record, ())
        new = [f for f in firings if f not in held and _strength(after, f) == now.strength]
        gone = [f for f in held if f not in firings]
        reasons = comparison.reasons(after, new or firings)
        if not new and gone:
            reasons = reasons.beside(comparison.reasons(before, gone))
        yield comparison.changed(STRENGTH, was, now, reasons)
    if was.standing != now.standing:
        kind, sure, unsure = (FIRMED, after, before) if now.standing == FIRM else (LOOSENED, before, after)
        reasons = comparison.reasons(sure, sure.found.strengths[FIRM].makers.get(record, ()), FIRM)
        drops = unsure.found.strengths[POSSIBLE].makers.get(Record("drop", *key), ())
        reasons = reasons.beside(comparison.reasons(unsure, drops, POSSIBLE))
        yield comparison.changed(kind, was, now, reasons.beside(comparison.fitted(sure, key[0])))
    gone_results = [r for r in now.results if r.void_by and not _was_void(was, r)]
    if gone_results or (now.progress == VOID and was.progress != VOID):
        done = "done again since" if now.progress == PASSED else "to be done again"
        last = gone_results[-1] if gone_results else None
        by = f"{last.void_at[:10]}: {last.void_by}" if last else now.void_because
        yield comparison.changed(VOIDED, was, now, _Reasons(), f"{by}; {done}")
    done_before = before.case.standing.get(key)
    if (
        now.progress == PASSED == was.progress
        and done_before
        and done_before.at == after.case.standing[key].at
    ):
        slots = {slot for slot, _ in undated(after, key)} & comparison.answers
        if slots:
            yield comparison.changed(DOUBTED, was, now, _Reasons(slots=frozenset(slots)), done_before.at[:10])


def _was_void(line: Line, result: ResultSeen) -> bool:
    return any(r.at == result.at and r.void_by for r in line.results)


def _strength(evidence: Evidence, firing: Firing) -> str:
    return evidence.found.strengths[PROVISIONAL].of(firing, evidence.by_id[firing.alternative].rule)


def _dropped(comparison: _Comparison, line: Line) -> Change:
    """Why a line is gone: what asked for it no longer holds, a rule took it off, or nothing is fitted."""
    before, after, key = comparison.before, comparison.after, (line.operation, line.place)
    asked = before.found.lines[key].firings
    reasons = comparison.reasons(before, asked)
    gone = after.found.dropped.get(key)
    if gone is not None and gone.dropped:
        reasons = comparison.reasons(after, gone.dropped).beside(reasons)
    if gone is not None:
        unfitted = frozenset(("fitted", s) for s in gone.not_fitted) & comparison.answers
        reasons = reasons.beside(_Reasons((), unfitted))
    return comparison.changed(DROPPED, line, None, reasons)


def _said(evidence: Evidence, slot: Slot) -> tuple[object, object]:
    state = evidence.case.state(slot)
    return state.known, state.value


def _in_vocabulary(evidence: Evidence, slot: Slot) -> bool:
    program = evidence.program
    kinds: dict[str, Collection[str]] = {
        "fact": program.facts,
        "touched": program.parts,
        "damaged": program.parts,
        "procedure": program.operations,
        "result": program.operations,
    }
    return slot[1] in kinds.get(slot[0], program.systems)


def _words(evidence: Evidence, slot: Slot, state: State) -> str:
    if state.known is not None or not state.assumed:
        return evidence.values(slot, state)
    return f"not known, assumed {evidence.values(slot, state)}"


def _rule_changes(before: Evidence, after: Evidence) -> Iterable[RuleChange]:
    if _packs(before) == _packs(after):
        return
    old, new = before.program.rules, after.program.rules
    versions = {p.name: p.version for p in (*before.program.packs, *after.program.packs)}
    for id_ in sorted(set(old) | set(new)):
        rule = new.get(id_) or old[id_]
        how = "new" if id_ not in old else "gone" if id_ not in new else "changed"
        if how != "changed" or _meaning(old[id_]) != _meaning(new[id_]):
            yield RuleChange(id_, rule.title, how, f"{rule.pack} {versions[rule.pack]}")


def _meaning(rule: Rule) -> tuple[object, ...]:
    """A rule without its words and places."""
    effects = tuple((e.verb, e.subjects, e.place) for e in rule.then)
    return rule.pack, rule.when, rule.unless, effects, rule.strength, rule.valid_from, rule.valid_until


def _packs(evidence: Evidence) -> dict[str, str]:
    return {p.name: p.sha256 for p in evidence.program.packs}


def _pack_changes(before: Evidence, after: Evidence) -> Iterable[PackChange]:
    old = {p.name: p for p in before.program.packs}
    new = {p.name: p for p in after.program.packs}
    for name in dict.fromkeys((*old, *new)):
        was, now = old.get(name), new.get(name)
        if was is None or now is None or was.sha256 != now.sha256:
            yield PackChange(name, was, now)
