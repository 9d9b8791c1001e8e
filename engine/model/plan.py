"""The plan as data: everything a page, a spreadsheet or another program needs, with no text layout in it."""

from __future__ import annotations

from collections.abc import Mapping

from .program import Labour, PackId
from .record import dataclass, field
from .rule import Pattern
from .span import NOWHERE, Span

OPEN, HELD, PASSED, FAILED, VOID, WAIVED = "open", "held", "passed", "failed", "void", "waived"


@dataclass(frozen=True, slots=True)
class FactSeen:
    """A fact a support rests on. `origin` is observed, derived or assumed; `slot` names it; `at` says where."""

    slot: str
    title: str
    value: str
    origin: str
    at: Span
    said_by: str = ""


@dataclass(frozen=True, slots=True)
class SourceSeen:
    """A source a rule cites, and the place in it."""

    id: str
    title: str
    at: str
    kind: str
    from_memory: bool


@dataclass(frozen=True, slots=True)
class Support:
    """One rule that asks for a line: its reason, its sources and the facts it matched."""

    rule: str
    pack: str
    title: str
    why: str
    note: str
    strength: str
    sources: tuple[SourceSeen, ...]
    facts: tuple[FactSeen, ...]
    replaces: str = ""
    at: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Hold:
    """What keeps a line from starting: a rule (hold) or an open line that must come first (after)."""

    kind: str
    by: str
    why: str


@dataclass(frozen=True, slots=True)
class ReadingSeen:
    """A reading on record: what was measured, against which limit, and the verdict."""

    name: str
    low: float
    high: float
    count: int
    unit: str
    limit_low: float | None
    limit_high: float | None
    limit_from: str
    verdict: str
    reason: str
    next_step: str
    earlier_low: float | None = None
    earlier_high: float | None = None
    uncertainty: float | None = None


@dataclass(frozen=True, slots=True)
class ResultSeen:
    """A result in the log, and what became of it: stands, or void since an event."""

    at: str
    outcome: str
    by: str
    note: str
    readings: tuple[ReadingSeen, ...]
    remarks: tuple[str, ...]
    void_by: str = ""
    void_at: str = ""
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class ProcedureSeen:
    """The procedure looked up for a line."""

    document: str
    version: str
    looked_up: str
    verdict: str


@dataclass(frozen=True, slots=True)
class Line:
    """One operation, once per place."""

    id: str
    operation: str
    target: str
    place: str
    title: str
    kind: str
    phase: str
    strength: str
    standing: str
    firm_as: str
    progress: str
    because: tuple[Support, ...]
    holds: tuple[Hold, ...]
    after: tuple[str, ...]
    needs: tuple[str, ...]
    record: tuple[Mapping[str, str], ...]
    cautions: tuple[str, ...]
    procedure: ProcedureSeen | None
    waits_for: tuple[str, ...]
    results: tuple[ResultSeen, ...]
    waiver: str = ""
    void_because: str = ""
    labour: Labour | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """A question whose answer changes the plan; `answers` say which lines each answer adds, drops or firms."""

    fact: str
    ask: str
    who: tuple[str, ...]
    choices: Mapping[str, str]
    help: str
    adds: tuple[str, ...]
    drops: tuple[str, ...]
    firms: tuple[str, ...]
    slots: tuple[str, ...] = ()
    answers: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Considered:
    """A system without a line (`reason`: title of the nearest rule, `lacking`: what it missed), or a line taken off."""

    kind: str
    id: str
    title: str
    reason: str
    rules: tuple[str, ...] = ()
    lacking: tuple[Pattern, ...] = ()


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the reader must decide or know: a contradiction, an order violation, a stray log entry."""

    kind: str
    text: str
    lines: tuple[str, ...] = ()
    at: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class Override:
    """A rule of a lower pack that a higher one replaced or withdrew."""

    rule: str
    by: str
    pack: str
    how: str
    why: str
    sources: tuple[SourceSeen, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole plan of a case, lines in working order; possible lines come last."""

    case: str
    date: str
    vehicle: Mapping[str, object]
    knockon: str
    packs: tuple[PackId, ...]
    engines: tuple[str, ...]
    severity: int
    severity_because: tuple[Support, ...]
    severity_certain: int  # the level that no open answer can lower
    lines: tuple[Line, ...]
    questions: tuple[Question, ...]
    cautions: Mapping[str, str]
    preconditions: Mapping[str, str]
    considered: tuple[Considered, ...]
    notices: tuple[Notice, ...]
    overrides: tuple[Override, ...]
    log: tuple[Mapping[str, str], ...]
    picture: Mapping[str, object]
    file: str = ""

    def line(self, id_: str) -> Line | None:
        """The line with that id."""
        return next((line for line in self.lines if line.id == id_), None)
