"""The questions `knockon record` asks when it is called bare. Prompts go to stderr; answers may be piped."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import Any

import typer

from ..engine.diagnostics.nearest import called, fitting, titled
from ..engine.measure.figures import ReadingError
from ..engine.measure.typed import add_typed, typed_code
from ..engine.model.places import PLACES
from ..engine.model.plan import PASSED, WAIVED, Plan
from ..engine.model.program import Program
from ..engine.render.intake import choices_text
from ..engine.render.plain import clean
from .intake_prompts import NO_OTHERS, WrongError, chosen
from .page import page

KINDS = {"done": "done", "event": "event", "waiver": "waiver"}
OUTCOMES = {"pass": "pass", "fail": "fail", "aborted": "aborted"}
NOT_SAID = "(empty: not said)"
HINTS = {"kg": "-2.56..-2.25 lb x20", "ohm/V": "620 ohm/V"}


def ask(plan: Plan, program: Program) -> dict[str, Any]:
    """Ask for one entry; the answers carry the names of the command's options (waived, did, event ...)."""
    kind = _one_of("What is recorded: done, event or waiver?", KINDS, "done")
    answers: dict[str, Any] = {}
    if kind == "event":
        answers["event"] = _shown("Which event?", titled(program.events), also=called(program.events))
        scope = program.events[answers["event"]].scope
        if scope != "vehicle":
            known = program.parts if scope == "part" else program.systems
            question = f"Which {scope}? {NOT_SAID}"
            answers[scope] = _one_of(question, titled(known), "", also=called(known))
        answers["side"] = _one_of(f"Where? {NOT_SAID}", titled(PLACES), "")
    else:
        titles = {x.id: f"{x.place}: {x.title}".removeprefix(": ").replace("_", " ") for x in plan.lines}
        waiting = {
            x.id: titles[x.id]
            for x in plan.lines
            if x.standing != "possible" and x.progress not in (PASSED, WAIVED)
        }
        key = "did" if kind == "done" else "waived"
        answers[key] = _shown("Which line?", waiting, {**titled(program.operations), **titles})
        if kind == "done":
            answers |= _taken(answers[key].partition(".")[0], program)
        else:
            answers["why"] = _text("Why is it waived?")
    answers["by"] = _text("Who did it, saw it or decided it?", needed=kind == "waiver")
    answers["note"] = _text("A note? (empty: none)", needed=False)
    return answers


def _taken(operation: str, program: Program) -> dict[str, Any]:
    """Readings one by one, then the result, which readings may say by themselves."""
    spec = program.operations[operation]
    typed = [t for r in spec.record if r.unit for t in _reading(r.name, r.unit)]
    answers: dict[str, Any] = {"reading": typed}
    if spec.kind == "scan":
        answers["code"] = _codes()
    said = " (empty: by the readings)" if typed else ""
    answers["result"] = _one_of(f"Result: pass, fail or aborted?{said}", OUTCOMES, "" if typed else None)
    return answers


def _reading(name: str, unit: str) -> list[str]:
    placed = "; add `on 3x10 kg M1` for the weights" if "reference weight" in name else ""
    form = HINTS.get(unit, f"12.5 {unit}")
    while True:
        text = _text(f"{name}, as {form}{placed} (empty: not taken)", needed=False)
        try:
            if text:
                add_typed(f"{name}={text}", {})
            return [f"{name}={text}"] if text else []
        except ReadingError as error:
            _tell(f"{error.cause}: {error.next_step}")


def _codes() -> list[str]:
    """Trouble codes until an empty answer; none at all is an answer too."""
    found: list[str] = []
    while text := _text("A trouble code, as B16A1-23 0x2F radar_front (empty: no more)", needed=False):
        try:
            typed_code(text)
            found.append(text)
        except ReadingError as error:
            _tell(f"{error.cause}: {error.next_step}")
    return found


def _shown(
    question: str,
    shown: Mapping[str, str],
    more: Mapping[str, str] | None = None,
    also: Mapping[str, tuple[str, ...]] = NO_OTHERS,
) -> str:
    """One of a numbered list; what is not on it, by its id or when only one name has the words."""
    typer.echo("\n".join(choices_text(shown, page())), err=True)
    return _one_of(f"{question} Its number, or a piece of its name:", shown, None, more, also)


def _one_of(
    question: str,
    names: Mapping[str, str],
    default: str | None = None,
    more: Mapping[str, str] | None = None,
    also: Mapping[str, tuple[str, ...]] = NO_OTHERS,
) -> str:
    while True:
        text = _text(question, default=default)
        if text in names or text in (more or ()) or not text:
            return text
        others = fitting(text, more or {})
        try:
            found = chosen(text, names, also)
        except WrongError as wrong:
            if len(others) != 1:
                typer.echo(page().wrap(str(wrong), indent=2), err=True)
                continue
            found = others[0]
        typer.echo(page().wrap({**names, **(more or {})}[found], first="  = ", hang=4), err=True)
        return found


def _text(question: str, needed: bool = True, default: str | None = None) -> str:
    """One line of text; an empty one only where none is needed. typer.Abort at the end of the input."""
    while True:
        sys.stderr.write(clean(f"{question}{f' [{default}]' if default else ''} "))
        sys.stderr.flush()
        try:
            text = input().strip()
        except EOFError:
            raise typer.Abort from None
        if text or default is not None or not needed:
            return text or default or ""


def _tell(text: str) -> None:
    """Beside the answer: what was typed is shown again, and must not steer the terminal."""
    sys.stderr.write(clean(text) + "\n")
