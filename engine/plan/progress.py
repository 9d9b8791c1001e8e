"""How far each line is: results that stand or are undone, holds, waivers; and wrong order in the log."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise

from ..explain.facts import Evidence
from ..explain.roots import Roots
from ..infer.lines import LineId
from ..load.log import in_time_order
from ..measure.log_readings import assess_entry
from ..model.case import Slot
from ..model.outcome import PROVISIONAL, Record
from ..model.places import expand
from ..model.plan import FAILED, HELD, OPEN, PASSED, VOID, WAIVED, Hold, Notice, ResultSeen
from ..model.record import dataclass
from .undated import undated


@dataclass(frozen=True, slots=True)
class Progress:
    """The state of one line and what explains it."""

    state: str
    results: tuple[ResultSeen, ...]
    holds: tuple[Hold, ...]
    waiver: str
    void_because: str


NOT_BEGUN = Progress(OPEN, (), (), "", "")


def line_id(line: LineId) -> str:
    """`radar_corner_cal`, `rear_left` -> radar_corner_cal.rear_left."""
    return f"{line[0]}.{line[1]}" if line[1] else line[0]


def progress(evidence: Evidence, line: LineId) -> Progress:
    """The progress of a line."""
    case, holds = evidence.case, _holds(evidence, line)
    if not case.log or all(line[0] not in (entry.did, entry.waived) for entry in case.log):
        return Progress(HELD, (), holds, "", "") if holds else NOT_BEGUN
    results = tuple(_results(evidence, line))
    standing = case.standing.get(line)
    voided = _voided_by_rule(evidence, line) if standing is not None and standing.result == "pass" else ""
    again = bool(results) and not results[-1].void_by  # done since, whatever came of it
    undone = [] if again else [u for u in case.undone if (u.result.did, u.result.place) == line]
    waiver = _waiver(evidence, line)
    because = voided
    if standing is not None and not voided:
        state = {"pass": PASSED, "fail": FAILED}.get(standing.result, OPEN)
    elif voided or undone:
        state = VOID
        if undone and not voided:
            event = undone[-1].by
            title = evidence.program.events[event.event].title
            because = f"{event.at[:10]}: {title}" + (f" ({event.note})" if event.note else "")
    else:
        state = OPEN
    if waiver and state != PASSED:
        state = WAIVED
    elif state == OPEN and holds:
        state = HELD
    return Progress(state, results, holds if state in (HELD, VOID, FAILED) else (), waiver, because)


def _results(evidence: Evidence, line: LineId) -> Iterable[ResultSeen]:
    case, program = evidence.case, evidence.program
    undone = {(u.result.span, u.result.place): u.by for u in case.undone}
    per = program.operations[line[0]].per
    for entry in in_time_order(case.log):
        if entry.did != line[0] or line[1] not in expand(entry.place, per):
            continue
        judged = assess_entry(entry, case, program)
        by = undone.get((entry.span, line[1]))
        yield ResultSeen(
            at=entry.at,
            outcome=judged.outcome or "not conclusive",
            by=entry.by,
            note=entry.note,
            readings=judged.readings,
            remarks=judged.remarks,
            void_by=program.events[by.event].title if by else "",
            void_at=by.at if by else "",
            span=entry.span,
        )


def _voided_by_rule(evidence: Evidence, line: LineId) -> str:
    """The rule that voids a standing pass; a void raised by a logged event leaves later results alone."""
    record = Record("void", *line)
    for firing in evidence.found.strengths[PROVISIONAL].makers.get(record, ()):
        facts = list(evidence.facts(firing))
        if not any(f.said_by.startswith("log ") for f in facts):
            rule = evidence.by_id[firing.alternative].rule
            return f"{rule.id}: {rule.why}"
    return ""


def _waiver(evidence: Evidence, line: LineId) -> str:
    per = evidence.program.operations[line[0]].per
    for entry in evidence.case.log:
        if entry.waived == line[0] and line[1] in expand(entry.place, per):
            return f"{entry.at[:10]}, {entry.by}: {entry.why}"
    return ""


def _holds(evidence: Evidence, line: LineId) -> tuple[Hold, ...]:
    firings = evidence.found.strengths[PROVISIONAL].makers.get(Record("hold", *line))
    if not firings:
        return ()
    rules = [evidence.by_id[firing.alternative].rule for firing in firings]
    return tuple([Hold("rule", id_, why) for id_, why in dict.fromkeys((r.id, r.why) for r in rules)])


def notices(evidence: Evidence, needed: Mapping[LineId, tuple[LineId, ...]]) -> Iterable[Notice]:
    """What in the log the reader must know: work in the wrong order, strays, dates that cannot be."""
    yield from _order_violations(evidence, needed)
    yield from _undated_work(evidence, needed)
    log, program = evidence.case.log, evidence.program
    here = {operation for operation, _ in needed}
    for entry in log:
        name = entry.did or entry.waived
        if name and name not in here:
            title = program.operations[name].title
            text = f"{title}: in the log ({entry.at[:10]}), but no rule asks for it; kept"
            yield Notice("stray", text, (name,), (entry.span,))
    for earlier, later in pairwise(log):
        if came_later(earlier.at, later.at):
            text = f"the log is out of time order: {later.at} stands after {earlier.at}; judged by its dates"
            yield Notice("time", text, (), (later.span, earlier.span))
    ahead = [entry for entry in log if came_later(entry.at, evidence.case.date)]
    if ahead:
        text = (
            f"{len(ahead)} of {len(log)} entries are dated after the case ({evidence.case.date}); all are "
            "kept: set `date:` to the day the plan is for"
        )
        yield Notice("ahead", text, (), (ahead[0].span,))
    seen: set[tuple[object, ...]] = set()
    for entry in log:
        key = (entry.at, entry.did, entry.event, entry.waived, entry.place, str(entry.readings))
        if key in seen:
            yield Notice(
                "twice", f"the entry of {entry.at} is in the log twice; both are kept", (), (entry.span,)
            )
        seen.add(key)


def _undated_work(evidence: Evidence, needed: Iterable[LineId]) -> Iterable[Notice]:
    """Only for parts with an event of their own: of covers and glass the order of the lines tells enough."""
    for line in needed:
        done = evidence.case.standing.get(line)
        if done is None or done.result != "pass" or _waiver(evidence, line):
            continue
        for slot, event in undated(evidence, line):
            if event.part:
                text = (
                    f"{evidence.program.operations[line[0]].title} ({done.at[:10]}) stands, but the parts list "
                    f"has {evidence.slot_title(slot)} {evidence.values(slot, evidence.case.state(slot))}, and "
                    f"the log does not say when: record `{event.id}` with its date"
                )
                yield Notice("undated", text, (line_id(line),), (done.span, evidence.case.state(slot).span))


def _order_violations(evidence: Evidence, needed: Mapping[LineId, tuple[LineId, ...]]) -> Iterable[Notice]:
    standing = evidence.case.standing
    for line, firsts in needed.items():
        done = standing.get(line)
        if done is None or done.result != "pass" or _waiver(evidence, line):
            continue
        left_out = []
        for first in firsts:
            other = standing.get(first)
            if other is not None and not came_later(other.at, done.at):
                continue
            if not _may_be_missed(evidence, first) or _stood(evidence, first, done.at):
                continue
            if not _asked_later(evidence, first, done.at):
                left_out.append(first)
        if left_out:
            yield _wrong_order(evidence, line, left_out)


def _wrong_order(evidence: Evidence, line: LineId, left_out: list[LineId]) -> Notice:
    """One notice for a line, whatever it should have waited for; the line comes first in `lines`."""
    standing, operation = evidence.case.standing, evidence.program.operations[line[0]]
    done, spans, firsts = standing[line], [standing[line].span], []
    for first in left_out:
        other, why = standing.get(first), operation.why_after.get(first[0], "")
        when = f"which was done {other.at[:10]}" if other else "which was not done yet"
        title = evidence.program.operations[first[0]].title
        firsts.append(f"{title}, {when}{f' ({why})' if why else ''}")
        spans += [other.span] if other else []
    text = f"{operation.title} ({done.at[:10]}) comes after {'; after '.join(firsts)}"
    return Notice("order", text, tuple(map(line_id, (line, *left_out))), tuple(spans))


def came_later(one: str, other: str) -> bool:
    """Whether one moment is certainly after another; of two on one day a bare date says nothing."""
    shared = min(len(one), len(other))
    return one[:shared] > other[:shared]


def _may_be_missed(evidence: Evidence, line: LineId) -> bool:
    return evidence.found.lines[line].standing != "possible" and not _waiver(evidence, line)


def _stood(evidence: Evidence, line: LineId, then: str) -> bool:
    """Whether the line had passed at that time and nothing had undone it yet."""
    case, per = evidence.case, evidence.program.operations[line[0]].per
    done = [
        e
        for e in in_time_order(case.log)
        if e.did == line[0] and line[1] in expand(e.place, per) and not came_later(e.at, then)
    ]
    if not done or assess_entry(done[-1], case, evidence.program).outcome != "pass":
        return False
    gone = [u.by for u in case.undone if u.result.span == done[-1].span and u.result.place == line[1]]
    return all(came_later(event.at, then) for event in gone)


def _asked_later(evidence: Evidence, line: LineId, then: str) -> bool:
    """Whether only what the log says after a moment put the line on the plan."""
    moments = {entry.span: entry.at for entry in evidence.case.log}
    roots = Roots(evidence, evidence)

    def since(slots: Iterable[Slot]) -> bool:
        spans = [evidence.case.state(slot).span for slot in slots]
        return any(came_later(moments[span], then) for span in spans if span in moments)

    return all(since(roots.of([firing])[0]) for firing in evidence.found.lines[line].firings)
