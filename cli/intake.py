"""`knockon intake`: asks for what is missing, the weightiest question first, and keeps every answer."""

from __future__ import annotations

import datetime
import re
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from ..engine.explain.facts import Evidence
from ..engine.explain.questions import try_answers
from ..engine.model.plan import Plan, Question
from ..engine.model.record import dataclass, field, replace
from ..engine.plan.build import evidence_of, plan_of
from ..engine.render.intake import change_text, end_text, head_text, help_text
from ..engine.render.plain import clean
from .case_file import OpenCase, RefusedError
from .case_text import Change, edited, scalar
from .files import locked, write_atomically
from .inputs import read_program
from .intake_prompts import Asker, Dialogue, PressedError, StoppedError
from .options import Alone, PackDirs
from .page import page


class Role(StrEnum):
    """Who answers."""

    ESTIMATOR = "estimator"
    INTAKE = "intake"
    LOOKUP = "lookup"
    SCAN_TECH = "scan_tech"
    BLUEPRINTER = "blueprinter"
    TECHNICIAN = "technician"


FIRST_ROLES = (Role.ESTIMATOR, Role.INTAKE, Role.LOOKUP, Role.SCAN_TECH)


def intake(
    case: Annotated[
        Path | None,
        typer.Argument(metavar="[CASE]", help="The case file; a new one is started where none is."),
    ] = None,
    stage: Annotated[
        list[Role] | None,
        typer.Option(
            help="Ask what this role can answer; repeatable. Without it, all that is asked before teardown."
        ),
    ] = None,
    everyone: Annotated[bool, typer.Option("--everyone", help="Ask whatever anyone can answer.")] = False,
    pack: PackDirs = None,
    check_only: Alone = False,
) -> None:
    """Ask for the facts of a case, one question at a time, and show what each answer does to the plan.

    Example: knockon intake lr-1052.yaml

    Answers may come from a pipe. Exits with 1 when questions of this stage are left open.
    """
    roles = tuple(Role) if everyone else tuple(stage or FIRST_ROLES)
    program = read_program(pack)
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="replace")
    dialogue = Dialogue(page())
    new = case is None or not case.exists()
    try:
        path = case if case is not None and not new else started(case, dialogue)
    except StoppedError:
        dialogue.say("stopped before there was a case; nothing was written")
        raise typer.Exit(1) from None
    asker = Asker(dialogue, program, tuple(r.value for r in roles))
    session = Session(OpenCase.open(path, program), asker, check_only)
    dialogue.say(head_text(session.plan, str(path), new, dialogue.page))
    code = 0
    try:
        session.run()
    except KeyboardInterrupt:
        dialogue.say("\nstopped; the question at hand was not answered, every answer before it is kept")
        code = 130
    left = session.left()
    dialogue.say(end_text(session.plan, str(path), session.answers, len(left), dialogue.page))
    if left or code:
        raise typer.Exit(code or 1)


def started(case: Path | None, dialogue: Dialogue) -> Path:
    """Ask for what every case has and write it; a file that is there by now is gone on with."""
    today = datetime.date.today().isoformat()
    name = ""
    while not name or len(name) > 80:
        stem = clean(case.stem) if case else ""
        asked = f"what your shop calls this case{f' [{stem}]' if stem else ''}> "
        name = dialogue.line(asked) or (case.stem if case else "")
        if name == "?":
            dialogue.say("  any name your shop finds the job by, as a job number")
            name = ""
    date = ""
    while not _is_date(date):
        if date:
            dialogue.say(f"  `{date}` is no day written as {today}")
        date = dialogue.line(f"date of the case, as {today} [today]> ") or today
    vehicle = dialogue.line("the vehicle, in your own words [not said]> ")
    path = case or Path((re.sub(r"[^\w.-]+", "-", name).strip("-.") or "case") + ".yaml")
    text = f"case: {scalar(name, own_line=True)}\ndate: {date}\n"
    if vehicle:
        text = edited(text, str(path), [Change(("vehicle", "name"), vehicle)])
    with locked(path):
        if path.exists():
            dialogue.say(clean(f"{path} is there already; it is gone on with as it is"))
        else:
            write_atomically(path, text)
    return path


def _is_date(text: str) -> bool:
    try:
        return datetime.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


@dataclass(slots=True)
class Session:
    """One run: the file, the plan it gives, what was asked, and the way one answer back."""

    file: OpenCase
    asker: Asker
    alone: bool
    # what the next answer is written into: the file's text, or before a step back
    base: str = field(init=False)
    evidence: Evidence = field(init=False)
    plan: Plan = field(init=False)
    asked: set[str] = field(default_factory=set)
    history: list[tuple[Question, str]] = field(default_factory=list)
    answers: int = 0

    def __post_init__(self) -> None:
        self.base = self.file.text
        self._weigh()

    def _weigh(self) -> None:
        self.evidence = evidence_of(self.file.program, self.file.case, alone=self.alone)
        self.plan = plan_of(self.evidence)

    def left(self) -> list[Question]:
        """The open questions of this stage."""
        return [q for q in self.plan.questions if set(q.who) & set(self.asker.roles)]

    def run(self) -> None:
        """Ask until nothing is left that was not asked, or nobody answers."""
        question: Question | None = None
        while True:
            waiting = [q for q in self.left() if q.fact not in self.asked]
            question = question or next(iter(waiting), None)
            if question is None:
                return
            question = self.asker.shown(question, self.evidence.case)
            try:
                question = self._ask(question, len(waiting))
            except StoppedError:
                return

    def _ask(self, question: Question, left: int) -> Question | None:
        """Ask one question; the question to ask next where that is not simply the weightiest."""
        try:
            changes = self.asker.ask(question, left)
        except PressedError as pressed:
            return self._pressed(pressed.key, question)
        before = self.base
        if (changes or before != self.file.text) and not self._keep(changes):
            return question
        self._done(question, before)
        return None

    def _done(self, question: Question, before: str) -> None:
        self.asked.add(question.fact)
        self.history.append((question, before))

    def _pressed(self, key: str, question: Question) -> Question | None:
        if key == "q":
            raise StoppedError
        if key == "?":
            tried = replace(question, answers=try_answers(self.evidence, question))
            self.asker.dialogue.say(help_text(tried, self.plan, self.asker.dialogue.page))
            return question
        if key == "a":
            self._add_parts()
            return question
        if key == "b":
            return self._back(question)
        before = self.base
        if before != self.file.text and not self._keep([]):
            return question
        self._done(question, before)
        return None

    def _add_parts(self) -> None:
        try:
            while changes := self.asker.part():
                self.base = self.file.text
                self.history.clear()
                self._keep(changes)
        except PressedError as pressed:
            if pressed.key == "q":
                raise StoppedError from None

    def _back(self, question: Question) -> Question:
        """The question before, to be answered anew into the text as it was before its answer."""
        if not self.history:
            self.asker.dialogue.say("  no further back; the file can be corrected by hand at any time")
            return question
        stepped, further = question.fact, self.base != self.file.text
        earlier, self.base = self.history.pop()
        self.asked.discard(stepped)
        if further:
            words = "all answers stand until you give another here; those after it are then asked again"
            self.asker.dialogue.say(self.asker.dialogue.page.wrap(words, indent=2))
        elif self.base != self.file.text:
            self.asker.dialogue.say("  its answer stands until you give another; Enter takes it back")
        return earlier

    def _keep(self, changes: list[Change]) -> bool:
        """Write an answer and show what it did; False where it cannot stand, which was said."""
        before = self.plan
        try:
            moved = self.file.write(changes, self.base)
        except RefusedError:
            self.base = self.file.text
            return False
        if moved:
            self.history.clear()
        self.base = self.file.text
        self.answers += len(changes) > 0
        self._weigh()
        self.asker.dialogue.say(change_text(before, self.plan, self.asker.dialogue.page))
        return True
