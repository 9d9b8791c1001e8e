"""Whether every line of a plan is closed on paper, and if not, who can close it. Decides nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ..model.handover import Documented, Handover, Missing
from ..model.outcome import POSSIBLE, PROVISIONAL
from ..model.plan import FAILED, HELD, PASSED, VOID, WAIVED, Line, Notice, Plan
from ..model.program import Program

WHO = {"documentation": "estimator", "scan": "scan_tech"}
# notices that stand in the way
SETTLED_BY = {"order": "technician", "undated": "technician", "dispute": "lookup"}


def handover(plan: Plan, program: Program) -> Handover:
    """Close the books on a plan made with its questions."""
    lines = {line.id: line for line in plan.lines}
    delivery = set(_delivery(plan, program))
    asked = list(_questions(plan, lines))
    named = {id_ for q in plan.questions for id_ in (*q.adds, *q.firms)}
    documented, missing = [], []
    for line in plan.lines:
        closed = _closed(line, plan, program)
        if closed is not None and line.standing != POSSIBLE:
            documented.append(closed)
        elif line.standing == POSSIBLE or line.id in delivery:
            continue
        elif line.standing != PROVISIONAL or line.id not in named or line.results:
            missing.append(_missing(line))  # with results it is begun, and no longer a question
    named_already = {m.id for m in missing}
    notices = [
        Missing("notice", n.lines[0] if n.lines else "", "", n.text, SETTLED_BY[n.kind])
        for n in plan.notices
        if n.kind in SETTLED_BY and not _named_already(n, named_already)
    ]
    return Handover(plan.case, plan.date, tuple(documented), (*missing, *notices, *asked))


def _named_already(notice: Notice, missing: set[str]) -> bool:
    """Whether the missing lines say it; work in the wrong order stays as long as one earlier line is not among them."""
    if notice.kind == "order":
        return notice.lines[0] in missing or missing.issuperset(notice.lines[1:])
    return not missing.isdisjoint(notice.lines)


def _delivery(plan: Plan, program: Program) -> Iterator[str]:
    """The lines that are the handing over itself: in the last phase, and nothing waits for them."""
    last = list(program.phases)[-1]
    waited_for = {first for line in plan.lines for first in line.after}
    return (line.id for line in plan.lines if line.phase == last and line.id not in waited_for)


def _questions(plan: Plan, lines: dict[str, Line]) -> Iterable[Missing]:
    """Open questions that could still add a line which is not closed already."""
    for question in plan.questions:
        hangs = [i for i in (*question.firms, *question.adds) if lines[i].progress not in (PASSED, WAIVED)]
        if hangs:
            shown = ", ".join(hangs[:6]) + (f" and {len(hangs) - 6} more" if len(hangs) > 6 else "")
            words = f"decides on {shown}"
            yield Missing(
                "question", question.fact, question.ask, words, question.who[0] if question.who else ""
            )


def _closed(line: Line, plan: Plan, program: Program) -> Documented | None:
    if line.progress == WAIVED:
        return Documented(line.id, line.title, WAIVED, line.waiver)
    if line.progress == PASSED:
        result = next(r for r in reversed(line.results) if r.outcome == "pass" and not r.void_by)
        return Documented(line.id, line.title, PASSED, _signed(result.at, result.by))
    if line.progress == FAILED:
        again = next((other for other in plan.lines if _repeats(other, line, program)), None)
        if again is not None:
            return Documented(line.id, line.title, PASSED, f"failed, then cured and passed as {again.id}")
    return None


def _signed(at: str, by: str) -> str:
    return f"{at[:10]}, {by}" if by else at[:10]


def _repeats(other: Line, line: Line, program: Program) -> bool:
    """The same kind of check on the same systems, asked for after this one, and passed later."""
    own, its = program.operations[line.operation], program.operations[other.operation]
    if other.progress != PASSED or line.operation not in its.after or other.place != line.place:
        return False
    later = other.results[-1].at >= line.results[-1].at
    return later and bool(own.systems) and own.kind == its.kind and own.systems == its.systems


def _missing(line: Line) -> Missing:
    words = {
        VOID: f"void since {line.void_because}: do it again",
        FAILED: "its last result is a failure: put the cause right and do it again",
        HELD: "held: " + "; ".join(f"{h.by}: {h.why}" for h in line.holds),
    }.get(line.progress, "")
    if not words:
        last = line.results[-1] if line.results else None
        said = (*last.remarks, last.outcome)[0] if last else ""
        words = f"tried, not settled: {said}" if said else "no result and no waiver on record"
        if line.strength != "required":
            words += "; the repair procedure may say that it is not needed: look it up and note it"
    who = line.labour.category if line.labour else WHO.get(line.kind, "technician")
    return Missing(line.progress, line.id, line.title, words, who)
