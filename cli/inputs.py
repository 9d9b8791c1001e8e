"""What commands share: packs and case, with warnings on stderr, and the ways to write an answer."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path

from ..engine.diagnostics.message import InputError, Messages
from ..engine.load.cache import built_in_folders, program_of
from ..engine.load.case import build_case, load_case, read_form
from ..engine.load.tree import parse_tree
from ..engine.load.validate import validate
from ..engine.measure.log_readings import check_names, check_readings
from ..engine.model.case import Case
from ..engine.model.program import Program
from .memory import kept


class Format(StrEnum):
    """How to write a plan, a supplement or a handover."""

    TEXT = "text"
    JSON = "json"
    HTML = "html"
    MARKDOWN = "markdown"
    CSV = "csv"


def read_program(packs: Sequence[Path] | None, case: Path | None = None) -> Program:
    """The built-in packs with the user's on top. When they are wrong, the form of the case is judged in the same run."""
    try:
        with kept():
            return program_of([*built_in_folders(), *(packs or [])])
    except InputError as error:
        if case is not None:
            read_form(case, error.messages)
        raise


def read_case(path: Path, program: Program) -> Case:
    """The case; warnings and notes go to stderr, errors end the command."""
    messages = Messages()
    case = load_case(path, program, messages)
    check_readings(case, program, messages)
    if messages.errors:
        raise InputError(messages)
    if messages.items:
        from ..engine.render.messages import messages_text
        from .page import err_page

        print(messages_text(messages, err_page()), file=sys.stderr)
    return case


def checked(text: str, name: str, program: Program, *, appended: bool = False) -> Case:
    """The case a text says, not written yet; `appended`: its last log entry is new, so names are looked at too.

    InputError with every message; notes were shown when the file was opened.
    """
    messages = Messages()
    tree = parse_tree(text.removeprefix("\ufeff"), name, messages)
    if tree is None or not validate(tree, "case", messages):
        raise InputError(messages)
    case = build_case(tree, program, messages)
    check_readings(case, program, messages)
    if appended:
        check_names(case.log[-1:], case, program, messages)
    if messages.errors:
        raise InputError(messages)
    return case
