"""Readings in the log, judged against the limits of the case's procedures and the maker pack.

Bad figures are refused when the case is read; here they become a remark, so that no entry is ever lost.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import TYPE_CHECKING

from ..diagnostics.message import Messages
from ..diagnostics.nearest import offer
from ..load.tree import Tree, parse_tree
from ..model.case import Case, Entry
from ..model.plan import ReadingSeen
from ..model.program import Program
from ..model.record import dataclass, replace
from ..model.span import Span
from .figures import ReadingError

if TYPE_CHECKING:
    from .parts import Part


@dataclass(frozen=True, slots=True)
class Assessment:
    """What a log entry's readings say: pass, fail or '' (not conclusive, or none taken), and every figure.

    `shape` is how a failed seat check is off: zero, gain, both or no_return; '' where the readings do not tell.
    """

    outcome: str
    readings: tuple[ReadingSeen, ...]
    remarks: tuple[str, ...]
    shape: str = ""


def assess_entry(entry: Entry, case: Case, program: Program) -> Assessment:
    """Judge the readings of one entry; where they contradict its stated result, the readings win."""
    if not entry.readings:
        return Assessment(entry.result, (), ())
    from .parts import Taken, parts_of  # figures and units are loaded only where something was measured

    try:
        parts = list(parts_of(Taken.of(entry, case, program)))
    except ReadingError as error:
        stated = "" if entry.result == "pass" else entry.result
        return Assessment(stated, (), (f"{error.cause}; {error.next_step}",))
    outcome, said = _overall(entry.result, parts)
    remarks = dict.fromkeys((*said, *(r for part in parts for r in part.remarks)))
    shape = next((part.shape for part in parts if part.shape), "") if outcome == "fail" else ""
    return Assessment(outcome, tuple(s for part in parts for s in part.seen), tuple(remarks), shape)


def _overall(stated: str, parts: list[Part]) -> tuple[str, list[str]]:
    from .verdict import Outcome

    judged = [part for part in parts if part.outcome is not None]
    if stated == "aborted" or not judged:
        return stated, [] if stated else [
            "no result is stated and no reading could be judged: state the result"
        ]
    if any(part.outcome is Outcome.OUTSIDE for part in judged):
        return "fail", [
            "stated as passed, but the readings are outside: the readings count"
        ] if stated == "pass" else []
    if all(part.outcome is Outcome.WITHIN for part in judged):
        said = ["the readings are within, but a failure was stated and counts: say why in the log"]
        return ("fail", said) if stated == "fail" else ("pass", [])
    if stated == "fail":
        return "fail", []
    if stated and all(part.silent for part in judged if part.outcome is Outcome.NOT_CONCLUSIVE):
        return stated, ["no limit is on file for every reading, so the stated result stands by itself"]
    return "", ["stated as passed, but the readings do not settle it: the line stays open"] if stated else []


def check_readings(case: Case, program: Program, messages: Messages) -> None:
    """Add a message for every reading and limit of the case that cannot be, at its place in the file."""
    if not any(p.limits for p in case.procedures.values()) and not any(e.readings for e in case.log):
        return
    from .taken import as_limit

    place = _Places(case, messages)
    said = set[str]()  # a wrong limit is told once, not again by every reading it was for
    for operation, procedure in case.procedures.items():
        for name, raw in procedure.limits.items():
            try:
                as_limit(raw, procedure.document or "the procedure")
            except ReadingError as error:
                said.add(error.cause)
                _report(error, place.of_limit(operation, name, procedure.span), messages)
    for entry in case.log:
        if entry.did and entry.readings:
            for name, wrong in _wrong(entry, case, program):
                if wrong.cause not in said:
                    _report(wrong, place.of_reading(entry, name), messages)


def check_names(entries: Iterable[Entry], case: Case, program: Program, messages: Messages) -> None:
    """Add a message for every reading that neither its operation nor a limit on file knows, nor weights explain."""
    from .taken import short

    for entry in entries:
        operation = program.operations.get(entry.did)
        asked = {short(r.name) for r in operation.record if r.unit} if operation else set[str]()
        looked_up = case.procedures.get(entry.did)
        limits = {*program.limits.get(entry.did, ()), *(looked_up.limits if looked_up else ())}
        names = sorted({*asked, *map(short, limits), "codes"})
        for name, raw in entry.readings.items() if asked else ():
            if short(name) not in names and not (isinstance(raw, Mapping) and "weights" in raw):
                hint, step = offer(name, names, "reading")
                text = f"`{entry.did}` asks for no reading called `{name}`"
                span = _Places(case, messages).of_reading(entry, name)
                messages.add("KN329", text, span, nearest=hint, next_step=step)


def _wrong(entry: Entry, case: Case, program: Program) -> list[tuple[str, ReadingError]]:
    """Every reading that is wrong by itself; else what is wrong with them together, under no name."""
    together = _error(entry, case, program)
    if together is None:
        return []
    single = [
        (name, _error(replace(entry, readings={name: raw}), case, program))
        for name, raw in entry.readings.items()
    ]
    return [(name, error) for name, error in single if error is not None] or [("", together)]


def _error(entry: Entry, case: Case, program: Program) -> ReadingError | None:
    from .parts import Taken, parts_of

    try:
        list(parts_of(Taken.of(entry, case, program)))
    except ReadingError as error:
        return error
    return None


def _report(error: ReadingError, span: Span, messages: Messages) -> None:
    messages.add("KN320", error.cause, span, next_step=error.next_step)


class _Places:
    """Places that the case itself does not keep: the file is parsed again, and only when asked."""

    def __init__(self, case: Case, messages: Messages) -> None:
        self.case, self.lines = case, messages.lines.get(case.file, [])

    @cached_property
    def _tree(self) -> Tree:
        tree = parse_tree("\n".join(self.lines), self.case.file, Messages())
        return tree or Tree(self.case.file, {})

    def of_reading(self, entry: Entry, name: str) -> Span:
        """The name of a reading; the entry where no single one is meant."""
        tree = self._tree
        for i in range(len(tree.value.get("log") or [])):
            if tree.at("log", i) == entry.span:
                return tree.key("log", i, "readings", *([name] if name else []))
        return entry.span

    def of_limit(self, operation: str, name: str, otherwise: Span) -> Span:
        """The name of a limit."""
        for i, raw in enumerate(self._tree.value.get("procedures") or []):
            if raw["operation"] == operation:
                return self._tree.key("procedures", i, "limits", name)
        return otherwise
