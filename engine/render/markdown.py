"""Plan, supplement and handover as Markdown that pastes well into a message."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from ..model.handover import Handover
from ..model.plan import FactSeen, Line, Plan, Question, SourceSeen, Support
from ..model.program import Program
from ..model.supplement import KINDS, Change, Supplement
from .drawing_strip import reading_words
from .drawing_vehicle import drawing_vehicle
from .sheet import Sheet, considered_sentence, named
from .words import (
    CLOSING,
    MEMORY,
    PHASE,
    PROGRESS,
    SEVERITY,
    STRENGTH,
    WHO,
    clean,
    day,
    several,
    spoken,
    where,
)

QUESTIONS_SHOWN = 8
_MARKS = re.compile(r"([\\`*_{}\[\]<>#+!|~&$@:-])")
_LEAD = re.compile(r"^(\d+)([.)])")


def safe(text: object) -> str:
    """Text that Markdown shows as it was typed: no markup, link, heading, table cell or HTML can come of it."""
    kept = _LEAD.sub(r"\1\\\2", clean(text).strip())
    return _MARKS.sub(lambda m: {"<": "&lt;", ">": "&gt;", "&": "&amp;"}.get(m[1], _escaped(m[1])), kept)


def _escaped(mark: str) -> str:
    """A backslash before what can start markup; `-`, `:` and `+` only do so where a line or address starts."""
    return "&#58;" if mark == ":" else mark if mark in "-+$" else f"\\{mark}"


def plan_markdown(plan: Plan, program: Program | None = None) -> str:
    """The plan. With the program, what is not required also says what it lacks."""
    sheet = Sheet.of(plan)
    parts = [*_head(sheet), *_decide(sheet), *_work(sheet), *_rest(sheet, program), *_foot(plan)]
    return "\n".join(parts).strip() + "\n"


def _head(sheet: Sheet) -> Iterator[str]:
    plan = sheet.plan
    yield f"# Work plan {safe(plan.case)}\n"
    vehicle = ", ".join(
        safe(plan.vehicle[k]) for k in ("name", "vin", "model_year", "market") if k in plan.vehicle
    )
    yield f"{vehicle + '; ' if vehicle else ''}{safe(plan.date)}\n"
    yield f"Severity **{plan.severity} of 4**, {SEVERITY[plan.severity]}. {safe(drawing_vehicle(plan.picture).words)}\n"
    firm = sheet.count(standing="firm")
    yield (
        f"**{several(len(sheet.planned), 'line')}**: {firm} firm, {len(sheet.planned) - firm} provisional; "
        f"{sheet.done()} done; {len(sheet.possible)} more are possible; {several(len(plan.questions), 'question')} open."
    )


def _decide(sheet: Sheet) -> Iterator[str]:
    plan, again = sheet.plan, sheet.again()
    if plan.notices or plan.overrides or again or plan.questions:
        yield "\n## To decide first\n"
    yield from (f"- **!** {safe(n.text)}" for n in plan.notices)
    for o in plan.overrides:
        sources = _sources(o.sources)
        yield f"- Rule {safe(o.rule)} is {o.how} by {safe(o.by)} of pack {safe(o.pack)}: {safe(o.why)} ({sources})"
    for line in again:
        since = f" since {safe(line.void_because)}" if line.void_because else ""
        yield f"- **{line.progress}**{since}: {sheet.numbers[line.id]}. {safe(named(line))}"
    yield from (_question(q, sheet) for q in plan.questions[:QUESTIONS_SHOWN])
    if len(plan.questions) > QUESTIONS_SHOWN:
        yield f"- and {several(len(plan.questions) - QUESTIONS_SHOWN, 'more question')}"


def _question(question: Question, sheet: Sheet) -> str:
    who = " or ".join(spoken(w, WHO) for w in question.who)
    numbers = [str(n) for n, _ in sheet.numbered(question.firms)]
    rests = f" Lines that rest on it: {', '.join(numbers)}." if numbers else ""
    adds = f" {several(len(question.adds), 'more line')} could come in." if question.adds else ""
    return f"- **?** {safe(question.ask)} ({safe(who)}){rests}{adds}"


def _work(sheet: Sheet) -> Iterator[str]:
    yield "\n## Work, in order"
    for phase, again, lines in sheet.phases():
        yield f"\n### {safe(spoken(phase, PHASE))}{' (again)' if again else ''}\n"
        for line in lines:
            yield from _line(line, sheet)
    if not sheet.planned:
        yield "\nNo line is planned."


def _line(line: Line, sheet: Sheet) -> Iterator[str]:
    box = "x" if line.progress in ("passed", "waived") else " "
    marks = [
        STRENGTH.get(line.strength, line.strength),
        line.standing,
        PROGRESS.get(line.progress, line.progress),
    ]
    yield f"- [{box}] **{sheet.numbers[line.id]}. {safe(named(line))}** ({', '.join(marks)}) `{clean(line.id)}`"
    if line.void_because:
        yield f"  - void since {safe(line.void_because)}"
    yield from (f"  - held by {safe(h.by)}: {safe(h.why)}" for h in line.holds)
    if line.waiver:
        yield f"  - waived {safe(line.waiver)}"
    yield from (f"  - {_support(s)}" for s in line.because)
    for r in line.results:
        gone = f", void since {safe(day(r.void_at))}: {safe(r.void_by)}" if r.void_by else ""
        by = f", {safe(r.by)}" if r.by else ""
        yield f"  - {safe(day(r.at))}: {safe(r.outcome)}{by}{': ' + safe(r.note) if r.note else ''}{gone}"
        yield from (f"    - {safe(reading_words(reading))}" for reading in r.readings)
        yield from (f"    - {safe(remark)}" for remark in r.remarks)
    if line.procedure:
        p = line.procedure
        yield f"  - procedure: {safe(p.document)} {safe(p.version)}, looked up {safe(p.looked_up)}: {spoken(p.verdict)}"
    if line.after:
        yield f"  - after {', '.join(str(n) for n, _ in sheet.numbered(line.after))}"
    if line.record:
        named_units = (r["name"] + (f" ({r['unit']})" if r["unit"] else "") for r in line.record)
        yield f"  - record: {safe('; '.join(named_units))}"


def _support(support: Support) -> str:
    facts = f" Facts: {'; '.join(_fact(f) for f in support.facts)}." if support.facts else ""
    note = f" Note: {safe(support.note)}" if support.note else ""
    return f"{safe(support.rule)}: {safe(support.why)}{facts}{note} Source: {_sources(support.sources)}"


def _fact(fact: FactSeen) -> str:
    origin = {"derived": "concluded"}.get(fact.origin, fact.origin)
    said = ", ".join(w for w in (origin, fact.said_by, where(fact.at)) if w)
    return f"{safe(fact.title)}: {safe(fact.value)} ({safe(said)})"


def _sources(sources: Iterable[SourceSeen]) -> str:
    said = (
        s.title + (f", {s.at}" if s.at else "") + (f" ({MEMORY})" if s.from_memory else "") for s in sources
    )
    return safe("; ".join(said))


def _rest(sheet: Sheet, program: Program | None) -> Iterator[str]:
    plan = sheet.plan
    if sheet.possible:
        yield "\n## Possible, only under another answer\n"
    for line in sheet.possible:
        waits = f", hangs on {safe('; '.join(sheet.waits(line)[:4]))}" if line.waits_for else ""
        yield f"- {safe(named(line))} ({', '.join(safe(s.rule) for s in line.because)}){waits}"
    if plan.considered:
        yield "\n## Considered and not required\n"
    yield from (f"- {safe(considered_sentence(item, program))}" for item in plan.considered)
    if plan.log:
        yield "\n## Log\n\n| When | What | Result | Took away |\n|---|---|---|---|"
    for e in sheet.log():
        what = f"{safe(e['title'])}{': ' + safe(e['note']) if e['note'] else ''}{' (' + safe(e['by']) + ')' if e['by'] else ''}"
        yield f"| {safe(day(e['at']))} | {what} | {safe(e['result'] or e['kind'])} | {safe(e['undoes'])} |"


def _foot(plan: Plan) -> Iterator[str]:
    if plan.cautions:
        yield "\n## Care\n"
    yield from (f"- {safe(title)}" for title in plan.cautions.values())
    yield "\n## Made from\n"
    yield from (f"- pack {safe(p.name)} {safe(p.version)} (`{clean(p.sha256)}`)" for p in plan.packs)
    yield f"- knockon {safe(plan.knockon)}; evaluated by {safe(' and '.join(plan.engines))}"
    yield f"\n{CLOSING}"


def supplement_markdown(found: Supplement) -> str:
    """The supplement: what changed, by kind, each with its reasons."""
    from .supplement import HEADINGS, pack_change_words

    parts = [
        f"# Supplement {safe(found.case)}\n",
        f"From {safe(found.before)} to {safe(found.after)}; {safe(found.date)}",
    ]
    parts += [f"- {safe(pack_change_words(p))}" for p in found.packs]
    for kind in KINDS:
        changes = [c for c in found.changes if c.kind == kind]
        if changes:
            parts.append(f"\n## {HEADINGS[kind].capitalize()}\n")
        parts += [text for c in changes for text in _change(c)]
    if not found.changes:
        parts.append("\nNo line was added, dropped, firmed, changed in strength or voided.")
    return "\n".join((*parts, f"\n{CLOSING}")) + "\n"


def _change(change: Change) -> Iterator[str]:
    from .supplement import state_words

    yield f"- **{safe(named(change.line))}** `{clean(change.line.id)}`: {safe(state_words(change))}"
    for f in change.facts:
        said = ", ".join(w for w in (f.said_by, where(f.at)) if w)
        yield f"  - {safe(f.title)}: was {safe(f.before)}, now {safe(f.after)}{f' ({safe(said)})' if said else ''}"
    yield from (
        f"  - rule {safe(r.rule)} is {r.how} in pack {safe(r.pack)}: {safe(r.title)}"
        for r in change.rule_changes
    )
    yield from (f"  - {_support(s)}" for s in change.rules)


def handover_markdown(found: Handover) -> str:
    """The handover: what is missing by who can close it, then what is documented."""
    from .handover import SAYS

    state = "Documented: every line has a result that stands or a waiver."
    if not found.ready:
        state = f"Not ready: {several(len(found.missing), 'thing is', 'things are')} missing."
    parts = [f"# Handover {safe(found.case)}\n", f"{safe(found.date)}. **{state}** {SAYS}"]
    for who in dict.fromkeys(m.who for m in found.missing):
        parts.append(f"\n## Missing, for the {safe(spoken(who, WHO))}\n")
        own = (m for m in found.missing if m.who == who)
        parts += [f"- [ ] {' '.join(w for w in (safe(m.title), safe(m.words)) if w)} ({m.kind})" for m in own]
    if found.documented:
        parts.append("\n## Documented\n")
    parts += [f"- [x] {safe(d.title)} `{clean(d.line)}`: {d.how}, {safe(d.words)}" for d in found.documented]
    return "\n".join((*parts, f"\n{CLOSING}")) + "\n"
