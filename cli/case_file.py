"""The file of a case while somebody writes to it: checked as text, reconciled with what others wrote."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from ..engine.diagnostics.message import InputError, Messages
from ..engine.load.tree import Tree, parse_tree
from ..engine.model.case import Case
from ..engine.model.program import Program
from ..engine.model.record import dataclass, replace
from ..engine.model.span import Span
from ..engine.render.messages import messages_text
from .case_text import Change, edited
from .files import locked, refuse_read_only, write_atomically
from .inputs import checked, read_case
from .page import err_page


class RefusedError(Exception):
    """The answers cannot stand in this file; the messages were shown and nothing was written."""


@dataclass(slots=True)
class OpenCase:
    """A case file and its text as this session last saw it. `case` is what that text says."""

    path: Path
    program: Program
    text: str
    case: Case

    @classmethod
    def open(cls, path: Path, program: Program) -> OpenCase:
        """Read the file. InputError when it cannot be read, is no case, or may not be written."""
        refuse_read_only(path)
        with locked(path):
            case = read_case(path, program)
            return cls(path, program, _text(path), case)

    def write(self, changes: Sequence[Change], base: str) -> bool:
        """Write answers into `base`, or into what others wrote to the file meanwhile; True when they did.

        RefusedError when the answers cannot stand. InputError when the file can no longer be used or written.
        """
        with locked(self.path):
            refuse_read_only(self.path)
            theirs = _text(self.path) if self.path.exists() else None
            moved = theirs != self.text
            if moved:
                changes = self._take_over(theirs, changes)
            try:
                new = edited(base if not moved else self.text, str(self.path), changes)
                case = checked(new, str(self.path), self.program)
            except InputError as error:
                only = Messages(error.messages.errors, error.messages.lines)
                print(messages_text(only, err_page()), file=sys.stderr)
                raise RefusedError from error
            write_atomically(self.path, new)
            self.text, self.case = new, case
        return moved

    def _take_over(self, theirs: str | None, changes: Sequence[Change]) -> list[Change]:
        """Go on from what somebody else wrote meanwhile; what they answered is left as they said it."""
        messages, here = Messages(), Span(str(self.path), 1, 1)
        if theirs is None:
            text, step = "was removed meanwhile", "nothing: it is written again, with every answer so far"
            messages.add("KN324", f"`{self.path}` {text}", here, next_step=step, level="note")
            print(messages_text(messages, err_page()), file=sys.stderr)
            return list(changes)
        before = parse_tree(self.text.removeprefix("\ufeff"), str(self.path), Messages())
        self.case = read_case(self.path, self.program)
        now = parse_tree(theirs.removeprefix("\ufeff"), str(self.path), messages)
        self.text = theirs
        step = "nothing: their text is kept, and this answer is added to it"
        messages.add(
            "KN324",
            f"`{self.path}` was changed by someone else meanwhile",
            here,
            next_step=step,
            level="note",
        )
        kept = list(_not_answered(changes, before, now, messages))
        print(messages_text(messages, err_page()), file=sys.stderr)
        return kept


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8", errors="replace")


def _not_answered(
    changes: Iterable[Change], before: Tree | None, now: Tree | None, messages: Messages
) -> Iterable[Change]:
    for change in changes:
        theirs = _value(now, change.path)
        if change.path[-1] in ("yes", "no"):
            listed = [s for word in ("yes", "no") for s in _value(now, (*change.path[:-1], word)) or ()]
            change = replace(change, add=tuple(pair for pair in change.add if pair[0] not in listed))
            if change.add:
                yield change
        elif change.add or theirs in (None, "unknown", _value(before, change.path)):
            yield change
        elif theirs != change.value and now is not None:
            step = f"their answer stands; if `{change.value}` is right, write it there"
            text = f"`{change.path[-1]}` was answered meanwhile: {theirs}"
            messages.add("KN325", text, now.at(*change.path), next_step=step, level="note")


def _value(tree: Tree | None, path: Sequence[str]) -> Any:
    value = tree.value if tree is not None else None
    for key in path:
        value = value.get(key) if isinstance(value, dict) else None
    return value
