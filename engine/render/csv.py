"""Plan, supplement and handover as CSV, one row for each line, for a spreadsheet or another system.

A cell that a spreadsheet could take for a formula (it starts with = + - @, a tab or a return, or with their
full-width forms, spaces before it or not) gets an apostrophe in front; another system strips that one apostrophe.
Lists inside a cell are separated by `; `. UTF-8, comma, CRLF, as RFC 4180.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Final

from ..model.handover import Handover
from ..model.plan import Line, Plan, ReadingSeen
from ..model.supplement import Supplement
from .drawing_strip import reading_words
from .sheet import Sheet, facts_by_origin
from .words import MEMORY, clean

LONGEST_CELL: Final = 8000
COLUMNS: Final = {
    "case": "the case",
    "number": "place in the working order; empty for a possible line",
    "id": "operation, and place where there is one",
    "title": "the operation in words",
    "place": "left, right, front, rear or a corner; empty: the whole vehicle",
    "concerns": "systems the operation concerns",
    "kind": "kind of operation",
    "phase": "phase of the job",
    "strength": "required, unless_procedure or check_whether",
    "standing": "firm, provisional or possible",
    "firm_as": "the strength that is certain already, if any",
    "progress": "open, held, passed, failed, void or waived",
    "why": "the reasons, each after its rule id",
    "sources": "the sources of those rules",
    "observed": "facts that were said",
    "derived": "facts that follow by rules",
    "assumed": "facts nobody has said, taken cautiously",
    "waits_for": "what a line that is not firm hangs on",
    "after": "ids of the lines that come first",
    "held_by": "rules that hold the line, with their reason",
    "void_because": "the event that took its result away",
    "waiver": "who waived it, when and why",
    "procedure": "document looked up",
    "procedure_version": "its version",
    "procedure_looked_up": "the day it was looked up",
    "procedure_says": "required, conditional, not_required or not_found",
    "needs": "what must hold before it starts",
    "record": "what has to be recorded, with unit",
    "cautions": "cautions",
    "last_result": "outcome of the latest entry in the log",
    "last_at": "when it was entered",
    "last_by": "by whom",
    "last_readings": "its readings with limits and verdict",
    "labour": "labour category of the shop",
    "hours": "hours of the shop",
    "sublet": "yes when the shop sends it out",
}
_FORMULA = tuple("=+-@\t\r＝＋－＠")


def cell(value: object) -> str:
    """A cell that no spreadsheet takes for a formula."""
    raw = str(value)
    text = clean(raw, LONGEST_CELL)
    return f"'{text}" if raw.startswith(_FORMULA) or text.lstrip().startswith(_FORMULA) else text


def plan_csv(plan: Plan) -> str:
    """The plan, one row for each line under the names of COLUMNS; possible lines come last."""
    sheet = Sheet.of(plan)
    return _table(tuple(COLUMNS), (_row(line, sheet) for line in plan.lines))


def supplement_csv(found: Supplement) -> str:
    """The supplement, one row for each change."""
    head = ("case", "change", "id", "title", "place", "strength_before", "strength_after")
    head += ("standing_before", "standing_after", "voided", "facts", "rules", "why", "sources")
    rows = (
        (
            found.case,
            c.kind,
            c.line.id,
            c.line.title,
            c.line.place,
            c.strength_before,
            c.strength_after,
            c.standing_before,
            c.standing_after,
            c.voided,
            _list(f"{f.title}: {f.before} -> {f.after}" for f in c.facts),
            _list(f"{r.rule} {r.how} in {r.pack}" for r in c.rule_changes),
            _list(f"{s.rule}: {s.why}" for s in c.rules),
            _list(dict.fromkeys(s.title for support in c.rules for s in support.sources)),
        )
        for c in found.changes
    )
    return _table(head, rows)


def handover_csv(found: Handover) -> str:
    """The handover, one row for each line or question; what is missing first."""
    missing = [(found.case, m.kind, m.id, m.title, m.words, m.who) for m in found.missing]
    documented = [(found.case, d.how, d.line, d.title, d.words, "") for d in found.documented]
    return _table(("case", "state", "id", "title", "words", "who"), [*missing, *documented])


def _table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(head)
    writer.writerows([cell(value) for value in row] for row in rows)
    return out.getvalue()


def _row(line: Line, sheet: Sheet) -> tuple[object, ...]:
    facts = {
        origin: _list(f"{f.title}: {f.value}" for f in seen) for origin, seen in facts_by_origin(line).items()
    }
    procedure, labour = line.procedure, line.labour
    last = line.results[-1] if line.results else None
    sources = dict.fromkeys(s for support in line.because for s in support.sources)
    return (
        sheet.plan.case,
        sheet.numbers.get(line.id, ""),
        line.id,
        line.title,
        line.place,
        line.target,
        line.kind,
        line.phase,
        line.strength,
        line.standing,
        line.firm_as,
        line.progress,
        _list(f"{s.rule}: {s.why}" for s in line.because),
        _list(
            f"{s.title}{', ' + s.at if s.at else ''}{f' ({MEMORY})' if s.from_memory else ''}"
            for s in sources
        ),
        facts["observed"],
        facts["derived"],
        facts["assumed"],
        _list(sheet.waits(line)),
        _list(line.after),
        _list(f"{h.by}: {h.why}" for h in line.holds),
        line.void_because,
        line.waiver,
        procedure.document if procedure else "",
        procedure.version if procedure else "",
        procedure.looked_up if procedure else "",
        procedure.verdict if procedure else "",
        _list(sheet.plan.preconditions.get(n, n) for n in line.needs),
        _list(f"{r['name']}{' (' + r['unit'] + ')' if r['unit'] else ''}" for r in line.record),
        _list(line.cautions),
        last.outcome if last else "",
        last.at if last else "",
        last.by if last else "",
        _readings(last.readings if last else ()),
        labour.category if labour else "",
        f"{labour.hours:g}" if labour and labour.hours is not None else "",
        "yes" if labour and labour.sublet else "",
    )


def _readings(readings: Iterable[ReadingSeen]) -> str:
    return _list(reading_words(reading).replace("; ", ", ") for reading in readings)


def _list(items: Iterable[object]) -> str:
    return "; ".join(str(item) for item in items)
