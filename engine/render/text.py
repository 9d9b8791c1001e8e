"""The plan as text: what to decide, what to do and in which order, on which strength, because of what."""

from __future__ import annotations

from collections.abc import Iterator

from ..model.plan import Considered, Line, Plan, Question, SourceSeen, Support
from ..model.program import Program
from .phrases import STRENGTH_SHORT, fact_words, pattern_words, reading_words, source_words
from .plain import Page, clean
from .words import CLOSING, SEVERITY, STRENGTH, assumed_words

MOST_QUESTIONS = 8
MOST_AFTER = 6


def plan_text(plan: Plan, program: Program, page: Page, *, possible: bool = False, full: bool = False) -> str:
    """The whole plan.

    `possible` unfolds the lines that only another answer would bring in; `full` adds to each line its notes, what
    it comes after, what it needs and what it must leave on record.
    """
    parts = [
        *_head(plan, page),
        *_decide(plan, page),
        *_work(plan, page, full),
        *_possible(plan, page, possible),
    ]
    parts += [
        *_questions(plan, page),
        *_considered(plan, program, page),
        *_cautions(plan, page, full),
        *_foot(plan, page),
    ]
    return "\n".join(parts) + "\n"


def _head(plan: Plan, page: Page) -> Iterator[str]:
    name = clean(plan.vehicle.get("name", ""))
    yield page.emphasise(page.spread(f"WORK PLAN  {clean(plan.case)}", plan.date), "strong")
    if name:
        yield page.wrap(name)
    assumed = f" ({assumed_words(plan)})" if plan.severity_certain < plan.severity else ""
    yield page.wrap(f"severity {plan.severity} of 4: {SEVERITY[plan.severity]}{assumed}")
    for support in plan.severity_because[:3]:
        facts = "; ".join(fact_words(f) for f in support.facts)
        yield page.wrap(
            f"{support.title}: {facts}" if facts else support.title, first=f"  {support.rule} ", hang=7
        )
    counts = [line for line in plan.lines if line.standing != "possible"]
    firm = sum(line.standing == "firm" for line in counts)
    yield page.wrap(
        f"{len(counts)} lines: {firm} firm, {len(counts) - firm} provisional; "
        f"{len(plan.lines) - len(counts)} more are possible; {len(plan.questions)} questions open"
    )
    if len(plan.engines) == 1:
        yield page.wrap("One engine evaluated this plan: the rules engine could not be imported here.")


def _decide(plan: Plan, page: Page) -> Iterator[str]:
    if plan.notices or plan.overrides:
        yield page.heading("TO SETTLE OR KNOW")
    for notice in plan.notices:
        where = f" [{notice.at[0]}]" if notice.at and notice.at[0].file else ""
        yield page.wrap(f"{notice.text}{where}", first=" ! ", hang=3)
    for item in plan.overrides:
        sources = "; ".join(_source(s) for s in item.sources)
        yield page.wrap(
            f"rule {item.rule} is {item.how} by {item.by} of pack {item.pack}: {item.why} ({sources})",
            first=" * ",
            hang=3,
        )


def _work(plan: Plan, page: Page, full: bool) -> Iterator[str]:
    yield page.heading("WORK, IN ORDER")
    number, phase, told = 0, "", dict[str, str]()
    for line in plan.lines:
        if line.standing == "possible":
            continue
        if line.phase != phase:
            phase = line.phase
            yield f"\n{page.emphasise(phase.replace('_', ' '), 'strong')}"
        number += 1
        yield from line_text(line, page, f"{number:3d} ", told, full=full)


def line_text(
    line: Line, page: Page, lead: str = "    ", told: dict[str, str] | None = None, *, full: bool = True
) -> Iterator[str]:
    """One line of the plan with all that stands behind it; a rule `told` before is not told in full again."""
    pad = len(lead)
    place = f" - {line.place.replace('_', ' ')}" if line.place else ""
    yield page.wrap(f"{line.title}{place}", first=lead, hang=pad)
    state = "" if line.progress == "open" else f", {line.progress.upper()}"
    standing = "" if line.standing == "firm" else f", {line.standing}"
    firm_as = f" (certain: {STRENGTH[line.firm_as]})" if line.firm_as and line.standing != "firm" else ""
    tag = f"{STRENGTH_SHORT[line.strength]}{standing}{firm_as}{state}"
    yield page.wrap(f"{tag}  [{line.id}]", indent=pad)
    yield from progress_text(line, page, pad)
    for support in line.because:
        yield from _support(support, page, pad, line.id, told if told is not None else {}, full)
    if line.waits_for and line.standing == "provisional":
        yield page.wrap(f"firm up by: {', '.join(line.waits_for[:6])}", indent=pad)
    if line.procedure:
        p = line.procedure
        words = f"{p.document} {p.version}".strip()
        yield page.wrap(
            f"procedure: {words}, looked up {p.looked_up}: {p.verdict.replace('_', ' ')}", indent=pad
        )
    if line.after and full:
        more = f" and {len(line.after) - MOST_AFTER} more" if len(line.after) > MOST_AFTER else ""
        yield page.wrap(f"after: {', '.join(line.after[:MOST_AFTER])}{more}", indent=pad)
    if line.record and full:
        words = ", ".join(r["name"] + (f" ({r['unit']})" if r["unit"] else "") for r in line.record)
        yield page.wrap(f"record: {words}", indent=pad)
    marks = [f"cautions: {', '.join(line.cautions)}"] if line.cautions else []
    if line.needs and full:
        marks.append(f"needs: {', '.join(line.needs)}")
    for mark in marks:
        yield page.wrap(mark.replace("_", " "), indent=pad)
    if line.labour:
        hours = f", {line.labour.hours:g} h" if line.labour.hours is not None else ""
        yield page.wrap(
            f"labour: {line.labour.category}{hours}{', sublet' if line.labour.sublet else ''}", indent=pad
        )


def progress_text(line: Line, page: Page, pad: int) -> Iterator[str]:
    """What was done: results with readings and strips, holds, waivers, what took a result away."""
    if line.void_because:
        yield page.wrap(f"void since {line.void_because}: do it again", indent=pad)
    for hold in line.holds:
        yield page.wrap(f"held by {hold.by}: {hold.why}", indent=pad)
    if line.waiver:
        yield page.wrap(f"waived {line.waiver}", indent=pad)
    for result in line.results:
        note = f" ({result.note})" if result.note else ""
        gone = f", void since {result.void_at[:10]}: {result.void_by}" if result.void_by else ""
        by = f" by {result.by}" if result.by else ""
        yield page.wrap(
            f"{result.at[:10]} {result.outcome}{by}{note}{gone}", first=" " * pad + "> ", hang=pad + 2
        )
        for reading in result.readings:
            yield page.wrap(reading_words(reading), indent=pad + 2)
            from .strip import strip_of  # figures and units come with it

            drawn = strip_of(reading, page.width - pad - 4)
            if drawn:
                yield " " * (pad + 2) + drawn
        for remark in result.remarks:
            yield page.wrap(remark, indent=pad + 2)


def _support(
    support: Support, page: Page, pad: int, line: str, told: dict[str, str], full: bool
) -> Iterator[str]:
    lead = " " * pad + f"{support.rule} "
    facts = f"facts: {'; '.join(fact_words(f) for f in support.facts)}" if support.facts else ""
    if support.rule in told:
        yield page.wrap(
            f"{support.title}; reason and source under {told[support.rule]}", first=lead, hang=pad + 2
        )
        if facts:
            yield page.wrap(facts, indent=pad + 2)
        return
    told[support.rule] = line
    weaker = "" if support.strength == "required" else f" [{STRENGTH[support.strength]}]"
    replaced = f" (replaces {support.replaces})" if support.replaces else ""
    yield page.wrap(f"{support.why}{replaced}{weaker}", first=lead, hang=pad + 2)
    if facts:
        yield page.wrap(facts, indent=pad + 2)
    if support.note and full:
        yield page.wrap(f"note: {support.note}", indent=pad + 2)
    yield page.wrap(f"source: {'; '.join(_source(s) for s in support.sources)}", indent=pad + 2)


def _source(source: SourceSeen) -> str:
    return source_words(source) + (" (from memory, verify)" if source.from_memory else "")


def _possible(plan: Plan, page: Page, unfold: bool) -> Iterator[str]:
    lines = [line for line in plan.lines if line.standing == "possible"]
    if not lines:
        return
    yield page.heading(f"POSSIBLE, ONLY UNDER ANOTHER ANSWER ({len(lines)})")
    if not unfold:
        yield page.wrap("folded; `--possible` shows them with what would bring each in")
        return
    for line in lines:
        rules = ", ".join(s.rule for s in line.because)
        waits = f"; hangs on {', '.join(line.waits_for[:4])}" if line.waits_for else ""
        yield page.wrap(f"{line.title} [{line.id}] {rules}{waits}", first="  - ", hang=4)


def _questions(plan: Plan, page: Page) -> Iterator[str]:
    if not plan.questions:
        return
    yield page.heading("QUESTIONS, THE ONE THAT SETTLES MOST FIRST")
    for question in plan.questions[:MOST_QUESTIONS]:
        yield from question_text(question, page)
    if len(plan.questions) > MOST_QUESTIONS:
        yield page.wrap(
            f"and {len(plan.questions) - MOST_QUESTIONS} more; `knockon intake` asks them in turn"
        )


def question_text(question: Question, page: Page) -> Iterator[str]:
    """One question: who can answer, and what hangs on it."""
    who = ", ".join(w.replace("_", " ") for w in question.who)
    yield page.wrap(f"{question.ask} [{question.fact}] ({who})", first=" ? ", hang=3)
    effects = [ids for effect in question.answers.values() for ids in effect.values()]
    if question.answers and question.help and not any(effects):
        yield page.wrap(question.help, indent=5)
        return
    for answer, effect in question.answers.items():
        words = [f"{k} {', '.join(effect[k])}" for k in ("adds", "drops", "firms") if effect.get(k)]
        yield page.wrap(f"{answer}: {'; '.join(words) or 'changes nothing'}", indent=5)
    if not question.answers:
        yield page.wrap(
            f"up to {len(question.firms)} lines rest on it, up to {len(question.adds)} more could come",
            indent=5,
        )


def _considered(plan: Plan, program: Program, page: Page) -> Iterator[str]:
    if not plan.considered:
        return
    yield page.heading("CONSIDERED AND NOT REQUIRED")
    for item in plan.considered:
        yield page.wrap(considered_words(item, program), first="  - ", hang=4)


def considered_words(item: Considered, program: Program) -> str:
    """Why nothing is asked for, in one sentence."""
    if item.kind == "dropped":
        return f"{item.title}: taken off by {item.rules[0]}: {item.reason}"
    if not item.rules:
        return f"{item.title}: no rule of these packs asks for anything here"
    lacking = "; ".join(pattern_words(p, program) for p in item.lacking[:2])
    return f"{item.title}: nothing asked for. Nearest is {item.rules[0]} ({item.reason}); not the case here: {lacking}"


def _cautions(plan: Plan, page: Page, full: bool) -> Iterator[str]:
    if plan.cautions:
        yield page.heading("CAUTIONS")
    for id_, title in plan.cautions.items():
        yield page.wrap(title, first=f"  {id_.replace('_', ' ')}: ", hang=4)
    if not full:
        return
    if plan.preconditions:
        yield page.heading("WHAT LINES NEED BEFORE THEY START")
    for id_, title in plan.preconditions.items():
        yield page.wrap(title, first=f"  {id_.replace('_', ' ')}: ", hang=4)


def _foot(plan: Plan, page: Page) -> Iterator[str]:
    yield page.heading("MADE FROM")
    for pack in plan.packs:
        yield page.wrap(f"pack {pack.name} {pack.version} sha256 {pack.sha256[:16]} ({pack.title})", indent=2)
    yield page.wrap(f"knockon {plan.knockon}; evaluated by: {', '.join(plan.engines)}", indent=2)
    yield ""
    yield page.wrap(CLOSING)
