"""From records to lines: what is on the plan in each standing, at which strength, and by which firings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..model.case import Case
from ..model.outcome import FIRM, POSSIBLE, PROVISIONAL, STANDINGS, Firing, Fixpoint, Outcome, Record
from ..model.program import Program, alternatives_by_id
from ..model.record import dataclass
from ..model.rule import INHERITED, STRENGTHS, strongest, weakest
from .made import effects

RESTS_ON = ("derived", "severity", "planned")
LineId = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Strengths:
    """How strong each firing and each made record of a pass is."""

    firings: Mapping[Firing, str]
    records: Mapping[Record, str]
    makers: Mapping[Record, tuple[Firing, ...]]


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
    by_id = alternatives_by_id(program)
    makers: dict[Record, list[Firing]] = {}
    for firing in fixpoint.firings:
        for record in effects(by_id[firing.alternative], firing.records, program):
            makers.setdefault(record, []).append(firing)
    firings = {f: by_id[f.alternative].rule.strength for f in fixpoint.firings}
    inherited = [f for f, strength in firings.items() if strength == INHERITED]
    for firing in inherited:
        del firings[firing]
    records = {
        r: strongest(*found)
        for r, fs in makers.items()
        if (found := [firings[f] for f in fs if f in firings])
    }
    changed = bool(inherited)
    while changed:
        changed = False
        for firing in inherited:
            strength = _inherits(firing, records)
            if strength and firings.get(firing) != strength:
                firings[firing], changed = strength, True
                for record in effects(by_id[firing.alternative], firing.records, program):
                    records[record] = strongest(strength, records.get(record, strength))
    # sorted: the engines find firings in different orders, and a plan must not show which one found them
    return Strengths(firings, records, {r: tuple(sorted(fs)) for r, fs in makers.items()})


def _inherits(firing: Firing, records: Mapping[Record, str]) -> str:
    """The strength a firing takes over; '' while what it rests on has none yet."""
    links = [records.get(r, "") for r in firing.records if r.kind in RESTS_ON]
    return weakest(*links) if links and all(links) else ""


def find_lines(program: Program, case: Case, outcome: Outcome) -> Found:
    """The lines of a case: firm within provisional or possible, each with its strength and firings."""
    by_standing: dict[str, Strengths] = {}
    for standing in STANDINGS:
        same = next((s for s in by_standing if outcome[s] is outcome[standing]), None)
        by_standing[standing] = by_standing[same] if same else strengths(program, outcome[standing])
    planned = {s: _planned(program, case, outcome, by_standing, s) for s in STANDINGS}
    lines: dict[LineId, LineFound] = {}
    for key in sorted(set(planned[FIRM]) | set(planned[PROVISIONAL]) | set(planned[POSSIBLE])):
        lines[key] = _line(key, planned, by_standing)
    return Found(lines, _dropped(program, case, outcome, by_standing, lines), by_standing)


def _line(
    key: LineId, planned: Mapping[str, Mapping[LineId, str]], by_standing: Mapping[str, Strengths]
) -> LineFound:
    record = Record("planned", *key)
    firm_as = planned[FIRM].get(key, "")
    if key in planned[PROVISIONAL]:
        strength = planned[PROVISIONAL][key]
        if firm_as:
            strength = strongest(strength, firm_as)
        standing = FIRM if firm_as == strength else PROVISIONAL
        seen = FIRM if standing == FIRM and record not in by_standing[PROVISIONAL].makers else PROVISIONAL
    else:
        strength, standing, seen = (
            planned[POSSIBLE].get(key, firm_as),
            FIRM if firm_as else POSSIBLE,
            POSSIBLE,
        )
        if firm_as:
            strength, seen = firm_as, FIRM
    return LineFound(*key, standing, strength, firm_as, by_standing[seen].makers[record])


def _planned(
    program: Program, case: Case, outcome: Outcome, by_standing: Mapping[str, Strengths], standing: str
) -> dict[LineId, str]:
    """Planned and not dropped, with systems that may be there, as one standing sees it."""
    opposite = {FIRM: POSSIBLE, POSSIBLE: FIRM}.get(standing, standing)
    dropped = {(r.subject, r.place) for r in outcome[opposite].made if r.kind == "drop"}
    found: dict[LineId, str] = {}
    for record in outcome[standing].made:
        if record.kind != "planned":
            continue
        strength = by_standing[standing].records[record]
        key = (record.subject, record.place)
        if key in dropped and strength != STRENGTHS[-1]:
            continue
        if is_fitted(program, case, outcome, standing, program.operations[record.subject].systems):
            found[key] = strength
    return found


def is_fitted(program: Program, case: Case, outcome: Outcome, standing: str, systems: Iterable[str]) -> bool:
    """Whether at least one of the systems is (or may be) there; true when none is asked for."""
    systems = tuple(systems)
    if not systems:
        return True
    for system in systems:
        state = case.state(("fitted", system))
        disputed = system in outcome.contradictions
        if Record("fitted", system) in outcome[standing].made and not disputed:
            return True
        if state.known is None or disputed:
            if standing != FIRM:
                return True
        elif "yes" in state.known:
            return True
    return False


def _dropped(
    program: Program,
    case: Case,
    outcome: Outcome,
    by_standing: Mapping[str, Strengths],
    lines: Mapping[LineId, LineFound],
) -> dict[LineId, Dropped]:
    """What the cautious reading asked for and did not keep, with what took it off."""
    makers = by_standing[PROVISIONAL].makers
    found: dict[LineId, Dropped] = {}
    for record in sorted(outcome[PROVISIONAL].made):
        key = (record.subject, record.place)
        if record.kind != "planned" or (key in lines and lines[key].standing != POSSIBLE):
            continue
        drop = makers.get(Record("drop", *key), ())
        systems = program.operations[record.subject].systems
        gone = () if is_fitted(program, case, outcome, PROVISIONAL, systems) else systems
        found[key] = Dropped(*key, makers[record], drop, gone)
    return found
