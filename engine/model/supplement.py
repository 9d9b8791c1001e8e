"""What changed between two moments of one case, and what made each difference."""

from __future__ import annotations

from .plan import Line, Support
from .program import PackId
from .record import dataclass
from .span import Span

ADDED, DROPPED, FIRMED, LOOSENED, STRENGTH, VOIDED, DOUBTED = (
    "added",
    "dropped",
    "firmed",
    "loosened",
    "strength",
    "voided",
    "doubted",
)
KINDS = (ADDED, DROPPED, FIRMED, LOOSENED, STRENGTH, VOIDED, DOUBTED)


@dataclass(frozen=True, slots=True)
class FactChange:
    """An answer that differs: what was known before and what is known now, and where that is said."""

    slot: str
    title: str
    before: str
    after: str
    at: Span
    said_by: str = ""


@dataclass(frozen=True, slots=True)
class RuleChange:
    """A rule that is new, changed or gone because the packs are not the same."""

    rule: str
    title: str
    how: str
    pack: str


@dataclass(frozen=True, slots=True)
class PackChange:
    """A pack in another version (or content) than before; None where it was not used."""

    name: str
    before: PackId | None
    after: PackId | None


@dataclass(frozen=True, slots=True)
class Change:
    """One difference of one line. `line` is the later one, or the earlier where it is gone.

    `voided` says which event took a result away and whether the work was done again.
    """

    kind: str
    line: Line
    strength_before: str
    strength_after: str
    standing_before: str
    standing_after: str
    rules: tuple[Support, ...]
    facts: tuple[FactChange, ...]
    rule_changes: tuple[RuleChange, ...]
    voided: str = ""


@dataclass(frozen=True, slots=True)
class Supplement:
    """All differences, by kind and then in working order; `before` and `after` name the two moments."""

    case: str
    date: str
    before: str
    after: str
    packs: tuple[PackChange, ...]
    changes: tuple[Change, ...]
