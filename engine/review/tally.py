"""Adding up the effects of a change over a body of cases, in memory that does not grow with the body."""

from __future__ import annotations

from collections import Counter

from ..model.program import Program
from ..model.record import dataclass, field
from ..model.rule import STRENGTHS, Citation, Rule
from .batch import OK, Result
from .effect import VOCABULARY, rank

EXAMPLES = 3
REASONS = 12
REQUIRED = STRENGTHS[-1]
LOST, WEAKER = "lost", "weaker"


@dataclass(frozen=True, slots=True)
class Cause:
    """What made a difference: a rule added, edited, removed, replaced or withdrawn; or the vocabulary.

    `rule` is the rule as it now is (as it was, when it is gone); `by` what replaced or withdrew it.
    """

    id: str
    how: str
    rule: Rule | None = None
    by: str = ""

    @property
    def sources(self) -> tuple[Citation, ...]:
        """The sources the rule cites."""
        return self.rule.source if self.rule else ()


@dataclass(slots=True)
class Same:
    """One change of one line, and the cases in which it came about; the first few are kept to be opened."""

    kind: str
    line: str
    was: str
    now: str
    cases: int = 0
    examples: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Group:
    """All changes with the same causes."""

    causes: tuple[Cause, ...]
    cases: int = 0
    changes: dict[tuple[str, str, str, str], Same] = field(default_factory=dict)

    def ranked(self) -> list[Same]:
        """The changes, most severe first."""
        return sorted(self.changes.values(), key=lambda s: (rank(s.kind, s.was, s.now), -s.cases, s.line))


@dataclass(slots=True)
class Tally:
    """What a change of packs did to a body of cases.

    `bad` counts cases no pack could use, by state and reason; `plans` those with a change of each kind;
    `required_lost` and `required_weaker` lines that were required, with the plans in which they are not any more.
    """

    old: Program
    new: Program
    cases: int = 0
    changed: int = 0
    only_old: Same = field(default_factory=lambda: Same("unreadable", "", "", ""))
    only_new: Same = field(default_factory=lambda: Same("readable", "", "", ""))
    bad: dict[tuple[str, str], Same] = field(default_factory=dict)
    groups: dict[tuple[str, ...], Group] = field(default_factory=dict)
    plans: Counter[str] = field(default_factory=Counter)
    required_lost: Counter[str] = field(default_factory=Counter)
    required_weaker: Counter[str] = field(default_factory=Counter)
    losing: int = 0  # plans with at least one of them

    def add(self, result: Result) -> None:
        """Count one case."""
        self.cases += 1
        if result.state != OK:
            place, why = _place_and_reason(result)
            _count(self._left_out(result.state, why), place)
        elif "only" in result.value:
            _count(self.only_old if result.value["only"] == "old" else self.only_new, _with_why(result))
        else:
            self._changes(result)

    @property
    def left_out(self) -> int:
        """Cases that could not be compared."""
        return sum(s.cases for s in (self.only_old, self.only_new, *self.bad.values()))

    def _left_out(self, state: str, why: str) -> Same:
        """Cases left out for the same reason; past so many reasons, all the rest together."""
        if (state, why) not in self.bad and len(self.bad) >= REASONS:
            why = "other reasons"
        return self.bad.setdefault((state, why), Same(state, "", "", ""))

    def ranked(self) -> list[Group]:
        """The groups, the one with the most severe change first."""
        return sorted(self.groups.values(), key=_severity)

    def _changes(self, result: Result) -> None:
        self.changed += bool(result.value["changes"])
        touched, losing = set(), False
        self.plans.update({change[0] for change in result.value["changes"]})
        for kind, line, was, now, causes in result.value["changes"]:
            key = tuple(causes)
            if key not in self.groups:
                self.groups[key] = Group(tuple(self._cause(id_) for id_ in key))
            group = self.groups[key]
            group.cases += key not in touched
            touched.add(key)
            change = (kind, line, was, now)
            _count(group.changes.setdefault(change, Same(*change)), result.at)
            if was == REQUIRED and kind in (LOST, WEAKER):
                (self.required_lost if kind == LOST else self.required_weaker)[line] += 1
                losing = True
        self.losing += losing

    def _cause(self, id_: str) -> Cause:
        if id_.startswith(VOCABULARY):
            return Cause(id_, VOCABULARY)
        before, after = self.old.rules.get(id_), self.new.rules.get(id_)
        if before and after:
            return Cause(id_, "edited", after)
        if after:
            return Cause(id_, "added", after, after.replaces)
        over = self.new.overridden.get(id_)
        how = "removed" if over is None else "withdrawn" if over.withdraws else "replaced"
        return Cause(id_, how, before, over.id if over else "")


def _severity(group: Group) -> tuple[tuple[int, int], int, tuple[str, ...]]:
    first = group.ranked()[0]
    return rank(first.kind, first.was, first.now), -group.cases, tuple(c.id for c in group.causes)


def _count(same: Same, example: str) -> None:
    same.cases += 1
    if len(same.examples) < EXAMPLES:
        same.examples.append(example)


def _place_and_reason(result: Result) -> tuple[str, str]:
    """Where it is, and what is wrong: the same words for the same mistake in many cases."""
    why = str(result.value.get("why", ""))
    place, found, rest = why.partition(": KN")
    reason = (f"KN{rest}" if found else why).partition(" (and ")[0]
    return place if found and place.startswith(result.at) else result.at, reason


def _with_why(result: Result) -> str:
    why = str(result.value.get("why", ""))
    return why if why.startswith(result.at) else f"{result.at}: {why}"
