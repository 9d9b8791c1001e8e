"""From records to lines: what is on the plan in each standing, at which strength, and by which firings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from typing import Any

from ..model.case import Case
from ..model.outcome import (
    FIRM,
    OPPOSITE,
    POSSIBLE,
    PROVISIONAL,
    STANDINGS,
    Firing,
    Fixpoint,
    Outcome,
    Record,
)
from ..model.program import Program
from ..model.record import dataclass
from ..model.rule import INHERITED, STRENGTHS, Rule, strongest, weakest
from .made import Way, ways

RESTS_ON = ("derived", "severity", "planned")
LineId = tuple[str, str]


class Makers(Mapping[Record, tuple[Firing, ...]]):
    """The firings that made each record, gathered and put in order when somebody reads them."""

    def __init__(self, found: Iterable[Way]) -> None:
        self.groups: dict[Record, list[list[Firing]]] = {}
        self.firings: dict[Record, tuple[Firing, ...]] = {}
        for _, makes, firings in found:
            for record in makes:
                self.groups.setdefault(record, []).append(firings)

    def __getitem__(self, record: Record) -> tuple[Firing, ...]:
        found = self.firings.get(record)
        if found is None:
            # sorted: the engines find firings in different orders, and a plan must not show which one found them
            found = tuple(sorted([firing for group in self.groups[record] for firing in group]))
            self.firings[record] = found
        return found

    def get(self, record: Record, default: Any = ()) -> Any:
        """The firings that made a record; none made one that is not there."""
        return self[record] if record in self.groups else default

    def __contains__(self, record: object) -> bool:
        return record in self.groups

    def __iter__(self) -> Iterator[Record]:
        return iter(self.groups)

    def __len__(self) -> int:
        return len(self.groups)


@dataclass(frozen=True, slots=True)
class Strengths:
    """How strong each firing and each made record of a pass is, and which firings made it."""

    inherited: Mapping[Firing, str]
    records: Mapping[Record, str]
    makers: Makers
    ways: Sequence[Way]

    def of(self, firing: Firing, rule: Rule) -> str:
        """The strength of a firing of a rule."""
        return self.inherited.get(firing, "") if rule.strength == INHERITED else rule.strength


@dataclass(frozen=True, slots=True)
class LineFound:
    """A line by its operation and place. `strength` is the cautious one; `firm_as` what is already certain."""

    operation: str
    place: str
    standing: str
    strength: str
    firm_as: str
    firings: tuple[Firing, ...]


@dataclass(frozen=True, slots=True)
class Dropped:
    """A line some rule asked for and another took off, or whose systems are not fitted."""

    operation: str
    place: str
    asked: tuple[Firing, ...]
    dropped: tuple[Firing, ...]
    not_fitted: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """All lines of a case in fixed order, and the strengths of each pass."""

    lines: Mapping[LineId, LineFound]
    dropped: Mapping[LineId, Dropped]
    strengths: Mapping[str, Strengths]


def strengths(program: Program, fixpoint: Fixpoint) -> Strengths:
    """A chain is as strong as its strongest whole support, and a support as its weakest link."""
    found = ways(program, fixpoint.firings)
    inherited, records = how_strong(found)
    return Strengths(inherited, records, Makers(found), found)


def how_strong(found: Iterable[Way]) -> tuple[dict[Firing, str], dict[Record, str]]:
    """The strengths that firings inherit, and those of all records made."""
    at: dict[str, list[tuple[Record, ...]]] = {s: [] for s in STRENGTHS}
    chains: list[Way] = []
    for way in found:
        strength = way[0].rule.strength
        if strength == INHERITED:
            chains.append(way)
        else:
            at[strength].append(way[1])
    inherited, records = dict[Firing, str](), dict[Record, str]()
    for strength in STRENGTHS:  # a stronger one overwrites
        for makes in at[strength]:
            for record in makes:
                records[record] = strength
    changed = bool(chains)
    while changed:
        changed = False
        for _, makes, firings in chains:
            for firing in firings:
                strength = _inherits(firing, records)
                if strength and inherited.get(firing) != strength:
                    inherited[firing], changed = strength, True
                    for record in makes:
                        records[record] = strongest(strength, records.get(record, strength))
    return inherited, records


def _inherits(firing: Firing, records: Mapping[Record, str]) -> str:
    """The strength a firing takes over; '' while what it rests on has none yet."""
    links = [records.get(r, "") for r in firing.records if r.kind in RESTS_ON]
    return weakest(*links) if links and all(links) else ""


def find_lines(program: Program, case: Case, outcome: Outcome) -> Found:
    """The lines of a case: firm within provisional or possible, each with its strength and firings."""
    by_standing: dict[str, Strengths] = {}
    planned: dict[str, dict[Record, str]] = {}
    fitted = there(program, case, outcome)
    for standing in STANDINGS:
        same = next((s for s in by_standing if outcome[s] is outcome[standing]), None)
        by_standing[standing] = by_standing[same] if same else strengths(program, outcome[standing])
        planned[standing] = _planned(program, outcome, by_standing, standing, fitted[standing])
    firm, cautious, possible = (planned[s] for s in STANDINGS)
    lines = {
        (r.subject, r.place): _line(r, firm.get(r, ""), cautious.get(r, ""), possible.get(r, ""), by_standing)
        for r in sorted(firm.keys() | cautious.keys() | possible.keys())
    }
    dropped = _dropped(program, outcome, by_standing, lines, fitted[PROVISIONAL])
    return Found(lines, dropped, by_standing)


def _line(
    record: Record, firm_as: str, cautious: str, possible: str, by_standing: Mapping[str, Strengths]
) -> LineFound:
    """One line from its strength in each pass, '' where it is not planned."""
    if cautious:
        strength = strongest(cautious, firm_as) if firm_as and firm_as != cautious else cautious
        standing, seen = FIRM if firm_as == strength else PROVISIONAL, PROVISIONAL
    elif firm_as:
        strength, standing, seen = firm_as, FIRM, FIRM
    else:
        strength, standing, seen = possible, POSSIBLE, POSSIBLE
    firings = by_standing[seen].makers[record]
    return LineFound(record.subject, record.place, standing, strength, firm_as, firings)


def _planned(
    program: Program,
    outcome: Outcome,
    by_standing: Mapping[str, Strengths],
    standing: str,
    fitted: Set[str],
) -> dict[Record, str]:
    """Planned and not dropped, with systems that may be there, as one standing sees it."""
    dropped = {(r.subject, r.place) for r in outcome[OPPOSITE[standing]].made if r.kind == "drop"}
    strong, operations = by_standing[standing].records, program.operations
    found: dict[Record, str] = {}
    for record in outcome[standing].made:
        if record.kind != "planned":
            continue
        strength, systems = strong[record], operations[record.subject].systems
        if strength != STRENGTHS[-1] and (record.subject, record.place) in dropped:
            continue
        if not systems or not fitted.isdisjoint(systems):
            found[record] = strength
    return found


def there(program: Program, case: Case, outcome: Outcome) -> dict[str, set[str]]:
    """The systems that are there (or may be), as each standing sees it: by what is said, or by law."""
    said, doubted = set[str](), set(outcome.contradictions)
    for system in program.systems:
        known = case.state(("fitted", system)).known
        if known is None:
            doubted.add(system)
        elif "yes" in known:
            said.add(system)
    said.difference_update(outcome.contradictions)
    found = {}
    for standing in STANDINGS:
        by_law = {r.subject for r in outcome[standing].made if r.kind == "fitted"}
        by_law.difference_update(outcome.contradictions)
        found[standing] = said | by_law if standing == FIRM else said | by_law | doubted
    return found


def _dropped(
    program: Program,
    outcome: Outcome,
    by_standing: Mapping[str, Strengths],
    lines: Mapping[LineId, LineFound],
    fitted: Set[str],
) -> dict[LineId, Dropped]:
    """What the cautious reading asked for and did not keep, with what took it off."""
    makers = by_standing[PROVISIONAL].makers
    kept = {key for key, line in lines.items() if line.standing != POSSIBLE}
    asked = (r for r in outcome[PROVISIONAL].made if r.kind == "planned")
    found: dict[LineId, Dropped] = {}
    for record in sorted(r for r in asked if (r.subject, r.place) not in kept):
        key = (record.subject, record.place)
        systems = program.operations[record.subject].systems
        gone = systems if fitted.isdisjoint(systems) else ()
        found[key] = Dropped(*key, makers[record], makers.get(Record("drop", *key), ()), gone)
    return found
