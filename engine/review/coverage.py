"""What scenarios cover, counted by the ids of rules and conditions, never by lines of a file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from ..infer.lacking import Lack
from ..model.program import Program
from ..model.record import dataclass
from ..model.rule import Rule
from ..model.span import Span

FIRED, NEARLY, NEVER = "fired", "nearly", "never"


@dataclass(frozen=True, slots=True)
class ConditionCover:
    """In how many scenarios a condition held while its rule fired, and in how many it alone was lacking."""

    id: str
    at: Span
    fired: int
    nearly: int


@dataclass(frozen=True, slots=True)
class RuleCover:
    """In how many scenarios a rule fired, and in how many it lacked exactly one condition.

    A rule without conditions can never nearly fire; `conditions` is then empty.
    """

    rule: Rule
    fired: int
    nearly: int
    conditions: tuple[ConditionCover, ...]

    @property
    def state(self) -> str:
        """fired, nearly or never."""
        return FIRED if self.fired else NEARLY if self.nearly else NEVER


class Coverage:
    """Counts over scenarios; feed it what each alternative lacks in each."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.active = {a.id: a for a in program.alternatives}
        self.fired: Counter[str] = Counter()
        self.nearly: Counter[str] = Counter()
        self.held: Counter[tuple[str, Span]] = Counter()
        self.alone: Counter[tuple[str, Span]] = Counter()

    def add(self, lacks: Mapping[str, tuple[Lack, ...]]) -> None:
        """Count one scenario: alternative id to what it lacks."""
        fired: set[str] = set()
        held: set[tuple[str, Span]] = set()
        alone: set[tuple[str, Span]] = set()
        for id_, lack in lacks.items():
            a = self.active[id_]
            if not lack:
                fired.add(a.rule.id)
                held |= {(a.rule.id, p.span) for p in (*a.ground, *a.records)}
                held |= {(a.rule.id, group[0].span) for group in a.unless}
            elif len(lack) == 1:
                alone.add((a.rule.id, lack[0].patterns[0].span))
        alone = {(rule, at) for rule, at in alone if rule not in fired}
        self.fired.update(fired)
        self.nearly.update({rule for rule, _ in alone})
        self.held.update(held)
        self.alone.update(alone)

    def rules(self) -> tuple[RuleCover, ...]:
        """One entry for every active rule, in the packs' order."""
        active = {a.rule.id: a.rule for a in self.program.alternatives}
        return tuple(
            RuleCover(rule, self.fired[id_], self.nearly[id_], tuple(self._conditions(rule)))
            for id_, rule in active.items()
        )

    def _conditions(self, rule: Rule) -> Iterator[ConditionCover]:
        named = dict(_named(rule))
        for a in self.active.values():
            if a.rule.id == rule.id:
                for pattern in (*a.ground, *a.records):
                    named.setdefault(pattern.span, "dates" if pattern.span == rule.span else "pack applies")
        for at, id_ in named.items():
            yield ConditionCover(f"{rule.id} {id_}", at, self.held[rule.id, at], self.alone[rule.id, at])


def _named(rule: Rule) -> Iterator[tuple[Span, str]]:
    """Conditions by their place in the rule: `when.2`, `when.3.1.2` (choice 1, pattern 2), `unless.1`."""
    for i, entry in enumerate(rule.when, 1):
        if isinstance(entry, tuple):
            for j, choice in enumerate(entry, 1):
                for k, pattern in enumerate(choice, 1):
                    yield pattern.span, f"when.{i}.{j}.{k}" if len(choice) > 1 else f"when.{i}.{j}"
        else:
            yield entry.span, f"when.{i}"
    for i, group in enumerate(rule.unless, 1):
        yield group[0].span, f"unless.{i}"
