"""Plan, supplement and handover as CSV, one row for each line, for a spreadsheet or another system.

A cell that a spreadsheet could take for a formula (it starts with = + - @, a tab or a return, or with their
full-width forms, spaces before it or not) gets an apostrophe in front; another system strips that one.
Lists inside a cell are separated by `; `. UTF-8, comma, CRLF, as RFC 4180.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final

from ..model.handover import Handover
from ..model.plan import Line, Plan
from ..model.supplement import Supplement
from .phrases import reading_words, source_words
from .sheet import Sheet, fact_value
from .words import MEMORY, clean

LONGEST_CELL: Final = 8000
Value = Callable[[Line, Sheet], object]
# Each column with its meaning and, unless it is the attribute of that name, where its value comes from.
COLUMNS: Final[Mapping[str, tuple[str, Value | None]]] = {
    "case": ("the case", lambda line, sheet: sheet.plan.case),
    "number": (
        "place in the working order; empty for a possible line",
        lambda line, sheet: sheet.numbers.get(line.id, ""),
    ),
    "id": ("operation, and place where there is one", None),
    "title": ("the operation in words", None),
    "place": ("left, right, front, rear or a corner; empty: the whole vehicle", None),
    "target": ("systems the operation concerns", None),
    "kind": ("kind of operation", None),
    "phase": ("phase of the job", None),
    "strength": ("required, unless_procedure or check_whether", None),
    "standing": ("firm, provisional or possible", None),
    "firm_as": ("the strength that is certain already, if any", None),
    "progress": ("open, held, passed, failed, void or waived", None),
    "why": ("the reasons, each after its rule", lambda line, _: [f"{s.rule}: {s.why}" for s in line.because]),
    "sources": ("the sources of those rules", lambda line, _: _sources(line)),
    "observed": ("facts that were said", lambda line, _: _facts(line, "observed")),
    "derived": ("facts that follow by rules", lambda line, _: _facts(line, "derived")),
    "assumed": ("facts nobody has said, taken cautiously", lambda line, _: _facts(line, "assumed")),
    "waits_for": ("what a line that is not firm hangs on", lambda line, sheet: sheet.waits(line)),
    "after": ("ids of the lines that come first", None),
    "held_by": (
        "rules that hold the line, with reason",
        lambda line, _: [f"{h.by}: {h.why}" for h in line.holds],
    ),
    "void_because": ("the event that took its result away", None),
    "waiver": ("who waived it, when and why", None),
    "procedure": ("document looked up", lambda line, _: line.procedure and line.procedure.document),
    "procedure_version": ("its version", lambda line, _: line.procedure and line.procedure.version),
    "procedure_looked_up": (
        "the day of the look-up",
        lambda line, _: line.procedure and line.procedure.looked_up,
    ),
    "procedure_says": (
        "required, conditional, not_required, not_found",
        lambda line, _: line.procedure and line.procedure.verdict,
    ),
    "needs": (
        "what must hold before it starts",
        lambda line, sheet: [sheet.plan.preconditions.get(n, n) for n in line.needs],
    ),
    "record": (
        "what has to be recorded, with unit",
        lambda line, _: [f"{r['name']} {r['unit']}".strip() for r in line.record],
    ),
    "cautions": ("cautions", None),
    "last_result": (
        "outcome of the latest entry in the log",
        lambda line, _: [r.outcome for r in line.results[-1:]],
    ),
    "last_at": ("when that was", lambda line, _: [r.at for r in line.results[-1:]]),
    "last_by": ("by whom", lambda line, _: [r.by for r in line.results[-1:]]),
    "last_readings": ("its readings with limits and verdict", lambda line, _: _readings(line)),
    "labour": ("labour category of the shop", lambda line, _: line.labour and line.labour.category),
    "hours": ("hours of the shop", lambda line, _: line.labour and line.labour.hours),
    "sublet": (
        "yes when the shop sends it out",
        lambda line, _: "yes" if line.labour and line.labour.sublet else "",
    ),
}
_FORMULA = tuple("=+-@\t\r＝＋－＠")


def cell(value: object) -> str:
    """A cell that no spreadsheet takes for a formula; nothing for None, a list joined."""
    raw = (
        "; ".join(map(str, value)) if isinstance(value, list | tuple) else "" if value is None else str(value)
    )
    text = clean(raw, LONGEST_CELL)
    return f"'{text}" if raw.startswith(_FORMULA) or text.lstrip().startswith(_FORMULA) else text


def plan_csv(plan: Plan) -> str:
    """The plan, one row for each line under the names of COLUMNS; possible lines come last."""
    sheet = Sheet.of(plan)
    return table(tuple(COLUMNS), (_row(line, sheet) for line in plan.lines))


def supplement_csv(found: Supplement) -> str:
    """The supplement, one row for each change."""
    before_after = ("strength_before", "strength_after", "standing_before", "standing_after")
    line = ("case", "change", "id", "title", "place")
    head = (*line, *before_after, "voided", "facts", "rules", "why", "sources")
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
            [f"{f.title}: {f.before} -> {f.after}" for f in c.facts],
            [f"{r.rule} {r.how} in {r.pack}" for r in c.rule_changes],
            [f"{s.rule}: {s.why}" for s in c.rules],
            list(dict.fromkeys(s.title for support in c.rules for s in support.sources)),
        )
        for c in found.changes
    )
    return table(head, rows)


def handover_csv(found: Handover) -> str:
    """The handover, one row for each line or question; what is missing first."""
    missing = [(found.case, m.kind, m.id, m.title, m.words, m.who) for m in found.missing]
    documented = [(found.case, d.how, d.line, d.title, d.words, "") for d in found.documented]
    return table(("case", "state", "id", "title", "words", "who"), [*missing, *documented])


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV text, every cell made harmless."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(head)
    writer.writerows([cell(value) for value in row] for row in rows)
    return out.getvalue()


def _row(line: Line, sheet: Sheet) -> list[object]:
    return [
        getattr(line, name) if value is None else value(line, sheet) for name, (_, value) in COLUMNS.items()
    ]


def _facts(line: Line, origin: str) -> list[str]:
    facts = dict.fromkeys(f for s in line.because for f in s.facts if f.origin == origin)
    return [f"{f.title}: {value}" if (value := fact_value(f)) else f.title for f in facts]


def _sources(line: Line) -> list[str]:
    sources = dict.fromkeys(s for support in line.because for s in support.sources)
    return [source_words(s) + (f" ({MEMORY})" if s.from_memory else "") for s in sources]


def _readings(line: Line) -> list[str]:
    return [reading_words(r).replace("; ", ", ") for result in line.results[-1:] for r in result.readings]
