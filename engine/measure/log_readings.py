"""Readings in the log, judged against the limits of the case's procedures and the maker pack.

Bad figures are refused when the case is read; here they become a remark, so that no entry is ever lost.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..diagnostics.message import Messages
from ..load.tree import Tree, parse_tree
from ..model.case import Case, Entry
from ..model.plan import ReadingSeen
from ..model.program import Program
from ..model.span import Span
from .figures import ReadingError
from .parts import Part, Taken, parts_of
from .taken import as_limit
from .verdict import Outcome


@dataclass(frozen=True, slots=True)
class Assessment:
    """What a log entry's readings say: pass, fail or '' (not conclusive, or none taken), and every figure."""

    outcome: str
    readings: tuple[ReadingSeen, ...]
    remarks: tuple[str, ...]


def outcome_of(entry: Entry, case: Case, program: Program) -> str:
    """The outcome of an entry: pass, fail, aborted, or '' while nothing is settled."""
    return assess_entry(entry, case, program).outcome


def assess_entry(entry: Entry, case: Case, program: Program) -> Assessment:
    """Judge the readings of one entry; where they contradict its stated result, the readings win."""
    if not entry.readings:
        return Assessment(entry.result, (), ())
    try:
        parts = list(parts_of(Taken.of(entry, case, program)))
    except ReadingError as error:
        stated = "" if entry.result == "pass" else entry.result
        return Assessment(stated, (), (f"{error.cause}; {error.next_step}",))
    outcome, said = _overall(entry.result, parts)
    remarks = dict.fromkeys((*said, *(r for part in parts for r in part.remarks)))
    return Assessment(outcome, tuple(s for part in parts for s in part.seen), tuple(remarks))


def _overall(stated: str, parts: list[Part]) -> tuple[str, list[str]]:
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
    tree: Tree | None = None
    for operation, procedure in case.procedures.items():
        for name, raw in procedure.limits.items():
            try:
                as_limit(raw, procedure.document or "the procedure")
            except ReadingError as error:
                tree = tree or _tree(case, messages)
                _report(error, _limit_place(tree, operation, name, procedure.span), messages)
    for entry in case.log:
        if not entry.readings or not entry.did:
            continue
        whole = list(entry.readings)
        try:
            list(parts_of(Taken.of(entry, case, program)))
        except ReadingError as error:
            tree = tree or _tree(case, messages)
            culprits = [n for n in whole if _fails_alone(entry, n, case, program)]
            _report(error, _reading_place(tree, entry, culprits), messages)


def _fails_alone(entry: Entry, name: str, case: Case, program: Program) -> bool:
    try:
        list(parts_of(Taken.of(replace(entry, readings={name: entry.readings[name]}), case, program)))
    except ReadingError:
        return True
    return False


def _report(error: ReadingError, span: Span, messages: Messages) -> None:
    messages.add("KN320", error.cause, span, next_step=error.next_step)


def _tree(case: Case, messages: Messages) -> Tree | None:
    """The file once more, for the places that the case itself does not keep."""
    return parse_tree("\n".join(messages.lines.get(case.file, [])), case.file, Messages())


def _reading_place(tree: Tree | None, entry: Entry, names: list[str]) -> Span:
    if tree is None:
        return entry.span
    log = tree.value.get("log") or []
    number = next((i for i in range(len(log)) if tree.at("log", i) == entry.span), None)
    if number is None:
        return entry.span
    return tree.key("log", number, "readings", *names[:1])


def _limit_place(tree: Tree | None, operation: str, name: str, otherwise: Span) -> Span:
    if tree is None:
        return otherwise
    for i, raw in enumerate(tree.value.get("procedures") or []):
        if raw["operation"] == operation:
            return tree.key("procedures", i, "limits", name)
    return otherwise
