"""What a pack knows about the trade: facts, systems, parts, operations and their sources."""

from __future__ import annotations

from collections.abc import Mapping

from .record import dataclass, field
from .span import NOWHERE, Span

Value = str | float


@dataclass(frozen=True, slots=True)
class Test:
    """One test of a set of values.

    `op` is any_of, none_of, some, at_least, below or not_known. Numbers and dates (as YYYYMMDD) are floats.
    `figure` is the `source.name` the number was taken from.
    """

    op: str
    values: tuple[Value, ...] = ()
    figure: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Assumption:
    """What to assume while nobody has answered: the values, and the fact tests under which they apply.

    With `add` all assumptions that apply are united; without, the first that applies is taken.
    """

    values: tuple[Value, ...]
    when: tuple[tuple[str, Test], ...] = ()
    add: bool = False


@dataclass(frozen=True, slots=True)
class FactSpec:
    """A fact of the vocabulary: how to ask for it, what it may be, and what to assume meanwhile.

    `between` is the least and the most a number can be of any vehicle, in the fact's unit.
    """

    id: str
    title: str
    ask: str
    type: str
    values: Mapping[str, str]
    places: Mapping[str, str]
    unit: str
    sections: tuple[str, ...]
    who: tuple[str, ...]
    assume: tuple[Assumption, ...]
    clear: tuple[Value, ...]
    help: str = ""
    span: Span = NOWHERE
    between: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Derived:
    """A fact concluded by rules; `per` says at which granularity of places it is kept."""

    id: str
    title: str
    per: str
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class System:
    """A vehicle system; `universal` marks what every road vehicle has, so nobody is asked for it.

    `also` are other words the trade has for it, here as for parts and events; ids in files stay what they are.
    """

    id: str
    title: str
    does: str
    area: str
    universal: bool
    components: str = ""
    mounting: str = ""
    disturbed_by: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Part:
    """A part, the systems fixed to it (carries), seen or hidden through it (covers), and beside it (near)."""

    id: str
    title: str
    places: tuple[str, ...]
    end: str
    zones: tuple[str, ...]
    hidden: bool
    carries: frozenset[str]
    covers: frozenset[str]
    near: frozenset[str]
    also: tuple[str, ...] = ()
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Reading:
    """Something an operation must leave on record; the limit is looked up, never kept here."""

    name: str
    unit: str = ""
    limit: str = ""


@dataclass(frozen=True, slots=True)
class Operation:
    """One kind of line on a plan."""

    id: str
    title: str
    kind: str
    systems: tuple[str, ...]
    per: str
    phase: str
    needs: tuple[str, ...]
    record: tuple[Reading, ...]
    after: tuple[str, ...]
    void_by: tuple[str, ...]
    cautions: tuple[str, ...]
    why_after: Mapping[str, str] = field(default_factory=dict)
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Event:
    """Something that can undo a finished operation; scope says whether it acts by vehicle, part or system.

    `answers` are the facts it settles (`while_undone`: only until what it undid is done again); `action` is the
    work it stands for on the part named in the log, else on `part`.
    """

    id: str
    title: str
    scope: str
    answers: Mapping[str, str] = field(default_factory=dict)
    while_undone: bool = False
    action: str = ""
    part: str = ""
    also: tuple[str, ...] = ()
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Figure:
    """A number or date that a source sets."""

    value: Value
    unit: str
    at: str
    from_memory: bool


@dataclass(frozen=True, slots=True)
class Source:
    """Where a rule's authority comes from. `from_memory` means: read the section before quoting it."""

    id: str
    title: str
    kind: str
    edition: str
    from_memory: bool
    reviewed: str
    figures: Mapping[str, Figure] = field(default_factory=dict)
    read_at: str = ""
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Impossible:
    """Answers that cannot all be true of one vehicle."""

    title: str
    tests: tuple[tuple[str, str, Test], ...]  # (kind: fact or fitted, id, test)
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Implied:
    """An answer that follows from others: (kind, id) gets these values when all tests hold of given answers."""

    title: str
    tests: tuple[tuple[str, str, Test], ...]
    slot: tuple[str, str]
    values: frozenset[Value]
    span: Span = NOWHERE


def after_ids(operations: Mapping[str, Operation], operation: str) -> list[str]:
    """The operations one operation comes after; `*kind` stands for all others of that kind."""
    found: list[str] = []
    for item in operations[operation].after:
        if item.startswith("*"):
            found += [o.id for o in operations.values() if o.kind == item[1:] and o.id != operation]
        else:
            found.append(item)
    return list(dict.fromkeys(found))
