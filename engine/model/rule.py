"""Rules: patterns, effects, and the alternatives a rule expands to."""

from __future__ import annotations

from collections.abc import Mapping

from .catalogue import Test
from .record import dataclass, field
from .span import NOWHERE, Span

STRENGTHS = ("check_whether", "unless_procedure", "required")  # weakest first
_RANK = {strength: i for i, strength in enumerate(STRENGTHS)}
INHERITED = "inherited"


def strongest(*strengths: str) -> str:
    """The strongest of the given strengths."""
    return max(strengths, key=_RANK.__getitem__)


def weakest(*strengths: str) -> str:
    """The weakest of the given strengths."""
    return min(strengths, key=_RANK.__getitem__)


@dataclass(frozen=True, slots=True)
class Pattern:
    """A condition on one kind of record.

    `subjects` are the ids it accepts (empty: any); `variable` binds the subject instead. `carries`, `covers`
    and `near` ask what a part does for a system (`relation_variable` binds that system). `place` is empty
    (any place), a place, or a variable to bind. For severity the subject is the level.
    """

    kind: str
    subjects: tuple[str, ...] = ()
    variable: str = ""
    test: Test | None = None
    relation: str = ""
    systems: tuple[str, ...] = ()
    relation_variable: str = ""
    kinds: tuple[str, ...] = ()
    place: str = ""
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Effect:
    """What a firing does to each subject: plan, conclude, severity, fits, hold, drop or void.

    `place` is empty (the whole vehicle), a place, `all`, or a bound variable.
    """

    verb: str
    subjects: tuple[str, ...]
    place: str = ""
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Citation:
    """A source id and the place in it."""

    source: str
    at: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule as written; `replaces` and `withdraws` name, at `target`, an earlier rule of a lower pack."""

    id: str
    pack: str
    title: str
    when: tuple[Pattern | tuple[tuple[Pattern, ...], ...], ...]
    unless: tuple[tuple[Pattern, ...], ...]
    then: tuple[Effect, ...]
    strength: str
    why: str
    note: str
    source: tuple[Citation, ...]
    status: str = "active"
    valid_from: str = ""
    valid_until: str = ""
    replaces: str = ""
    withdraws: str = ""
    target: Span = NOWHERE
    span: Span = NOWHERE

    def __hash__(self) -> int:
        return hash(self.id)


@dataclass(frozen=True, slots=True)
class Alternative:
    """One conjunction a rule expands to: what both engines evaluate.

    `ground` patterns ask one question of the case; `records` patterns range over records and may share
    variables; `unless` groups look only at the case or at strata below `stratum`.
    """

    id: str
    rule: Rule
    ground: tuple[Pattern, ...]
    records: tuple[Pattern, ...]
    unless: tuple[tuple[Pattern, ...], ...]
    effects: tuple[Effect, ...]
    stratum: int

    def __hash__(self) -> int:
        return hash(self.id)


@dataclass(frozen=True, slots=True)
class Claim:
    """What a promise says of the plan: operations planned, held, not_planned, or one before the other.

    `place` is empty (anywhere), a place, `all`, or a variable bound in `whenever`; `strength` is the least.
    """

    verb: str
    operations: tuple[str, ...]
    place: str = ""
    strength: str = "check_whether"
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Promise:
    """A sentence about every plan. Its condition is kept as a rule without effects: the grammar is the same.

    `kept_by_all`: packs stacked on top must keep it too.
    """

    rule: Rule
    claims: tuple[Claim, ...]
    kept_by_all: bool = False


@dataclass(frozen=True, slots=True)
class Scenario:
    """A sentence, the facts of an imagined case, and what must and must not follow."""

    name: str
    given: Mapping[str, object]
    fires: tuple[str, ...]
    nearly: Mapping[str, str]
    must: Mapping[str, str]
    must_not: Mapping[str, str]
    held: Mapping[str, str]
    void: Mapping[str, str]
    plan_is: Mapping[str, tuple[str, ...]]
    severity: int | None
    span: Span
