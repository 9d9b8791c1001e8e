"""From an outcome to the plan: merged, ordered, justified, with progress."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..explain.facts import Evidence, slot_id
from ..explain.questions import questions
from ..infer.lines import LineFound, find_lines
from ..infer.run import infer
from ..load.log import in_time_order
from ..measure.standing import settle
from ..model.case import Case, Procedure, Slot
from ..model.outcome import FIRM, POSSIBLE, PROVISIONAL, Outcome, Record
from ..model.plan import Considered, Line, Notice, Override, Plan, ProcedureSeen, Support
from ..model.program import Program
from ..model.version import VERSION
from .order import in_order, predecessors, working_order
from .picture import picture
from .progress import line_id, notices, progress

MOST_POSSIBLE_SUPPORTS = 3


def evidence_of(program: Program, case: Case, *, alone: bool = False) -> Evidence:
    """Settle the log, infer, certify, find the lines: everything explanations and plans are made of."""
    settled = settle(case, program)
    outcome = infer(program, settled, alone=alone)
    return Evidence(program, settled, outcome, find_lines(program, settled, outcome))


def make_plan(program: Program, case: Case, *, with_questions: bool = True) -> Plan:
    """The plan of a case. InferenceFault when the engines disagree."""
    return plan_of(evidence_of(program, case), with_questions=with_questions)


def plan_of(evidence: Evidence, with_considered: bool = False, with_questions: bool = True) -> Plan:
    """The plan from evidence already gathered."""
    program, case, outcome = evidence.program, evidence.case, evidence.outcome
    found = evidence.found.lines
    certain = [key for key in found if found[key].standing != POSSIBLE]
    maybe = [key for key in found if found[key].standing == POSSIBLE]
    needed = predecessors(program, certain)
    lines = [_line(evidence, found[key], needed[key]) for key in in_order(program, needed)]
    lines += [_line(evidence, found[key], ()) for key in working_order(program, maybe)]
    level, because = _severity(evidence, PROVISIONAL)
    return Plan(
        case=case.id,
        date=case.date,
        vehicle=case.vehicle,
        knockon=VERSION,
        packs=program.packs,
        engines=outcome.engines,
        severity=level,
        severity_because=because,
        severity_certain=_severity(evidence, FIRM)[0],
        lines=tuple(lines),
        questions=tuple(questions(evidence)) if with_questions else (),
        cautions=_used(
            program.cautions, (c for line in lines if line.standing != POSSIBLE for c in line.cautions)
        ),
        preconditions=_used(
            program.preconditions, (n for line in lines if line.standing != POSSIBLE for n in line.needs)
        ),
        considered=_considered(evidence) if with_considered else (),
        notices=(*_disputes(evidence, outcome), *notices(evidence, needed)),
        overrides=tuple(_overrides(evidence)),
        log=tuple(_log(evidence)),
        picture=picture(evidence),
        file=case.file,
    )


def _considered(evidence: Evidence) -> tuple[Considered, ...]:
    from ..explain.considered import considered  # few plans ask for it

    return tuple(considered(evidence))


def _used(titles: Mapping[str, str], ids: Iterable[str]) -> dict[str, str]:
    wanted = set(ids)
    return {id_: title for id_, title in titles.items() if id_ in wanted}


def _line(evidence: Evidence, found: LineFound, after: Iterable[tuple[str, str]]) -> Line:
    program, case = evidence.program, evidence.case
    operation = program.operations[found.operation]
    possible = found.standing == POSSIBLE
    firings = found.firings[:MOST_POSSIBLE_SUPPORTS] if possible else found.firings
    standing = POSSIBLE if possible else PROVISIONAL
    done = progress(evidence, (found.operation, found.place))
    looked_up = case.procedures.get(found.operation)
    open_slots: Iterable[Slot] = ()
    if found.standing != FIRM:
        open_slots = evidence.open_slots(Record("planned", found.operation, found.place))
    return Line(
        id=line_id((found.operation, found.place)),
        operation=found.operation,
        target=", ".join([program.systems[s].title for s in operation.systems if _there(evidence, s)]),
        place=found.place,
        title=operation.title,
        kind=operation.kind,
        phase=operation.phase,
        strength=found.strength,
        standing=found.standing,
        firm_as=found.firm_as,
        progress=done.state,
        because=evidence.supports(firings, standing),
        holds=done.holds,
        after=tuple([line_id(a) for a in after]),
        needs=operation.needs,
        record=tuple([{"name": r.name, "unit": r.unit, "limit": r.limit} for r in operation.record]),
        cautions=operation.cautions,
        procedure=None if looked_up is None else _procedure(looked_up),
        waits_for=tuple(sorted(map(slot_id, open_slots))),
        results=done.results,
        waiver=done.waiver,
        void_because=done.void_because,
        labour=program.labour.get(found.operation),
    )


def _procedure(found: Procedure) -> ProcedureSeen:
    return ProcedureSeen(found.document, found.version, found.looked_up, found.verdict)


def _there(evidence: Evidence, system: str) -> bool:
    return "yes" in evidence.case.state(("fitted", system)).value


def _severity(evidence: Evidence, standing: str) -> tuple[int, tuple[Support, ...]]:
    """The highest severity level a reading of the unknowns reaches, and the rules that reach it."""
    strengths = evidence.found.strengths[standing]
    levels = [int(r.subject) for r in strengths.makers if r.kind == "severity"]
    if not levels:
        return 0, ()
    top = max(levels)
    firings = strengths.makers[Record("severity", str(top))]
    return top, evidence.supports(firings, standing)


def _disputes(evidence: Evidence, outcome: Outcome) -> Iterable[Notice]:
    for text, spans in evidence.case.answers.disputes:
        yield Notice("dispute", text, (), spans)
    for system in outcome.contradictions:
        state = evidence.case.state(("fitted", system))
        makers = evidence.found.strengths[PROVISIONAL].makers.get(Record("fitted", system), ())
        rules = [evidence.by_id[f.alternative].rule for f in makers]
        named = "; ".join(f"{r.id}: {r.title}" for r in rules)
        title = evidence.program.systems[system].title
        text = f"the case says {title} is not fitted, the law says it is ({named}); it is planned for until settled"
        yield Notice("dispute", text, (), (state.span, *(r.span for r in rules)))


def _overrides(evidence: Evidence) -> Iterable[Override]:
    for id_, rule in sorted(evidence.program.overridden.items()):
        how = "withdrawn" if rule.withdraws else "replaced"
        sources = tuple(evidence.source(c) for c in rule.source)
        yield Override(id_, rule.id, rule.pack, how, rule.why, sources)


def _log(evidence: Evidence) -> Iterable[dict[str, str]]:
    """The log in time order, in words."""
    program = evidence.program
    for entry in in_time_order(evidence.case.log):
        name = entry.did or entry.waived
        title = program.operations[name].title if name else program.events[entry.event].title
        kind = "done" if entry.did else "waived" if entry.waived else "event"
        undoes = [line_id((u.result.did, u.result.place)) for u in evidence.case.undone if u.by == entry]
        what = {"done": entry.did, "waived": entry.waived, "event": entry.event}[kind]
        yield {
            "at": entry.at,
            "kind": kind,
            "what": line_id((what, entry.place if kind != "event" else "")),
            "title": title,
            "result": entry.result,
            "by": entry.by,
            "note": entry.note or entry.why,
            "undoes": ", ".join(undoes),
        }
