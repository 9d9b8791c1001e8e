"""`knockon record`: append what was done, what happened or what was waived to the log of a case."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any

import typer

from ..engine.diagnostics.message import InputError, Messages
from ..engine.load.append import append_entry
from ..engine.measure.figures import ReadingError
from ..engine.measure.typed import FORM, add_typed, typed_code
from ..engine.model.case import Case
from ..engine.model.places import expand
from ..engine.model.plan import Plan
from ..engine.model.program import Program
from ..engine.plan.build import make_plan
from ..engine.plan.progress import line_id
from ..engine.render.recorded import recorded_text
from .completion import lines
from .files import locked, write_atomically
from .inputs import checked, read_case, read_program
from .options import CaseFile, PackDirs
from .page import page

Did = Annotated[
    str, typer.Option(metavar="LINE", help="A line that was done, as ocs_check.", autocompletion=lines)
]
Waived = Annotated[
    str, typer.Option(metavar="LINE", help="A line not done; needs --why and --by.", autocompletion=lines)
]


def record(
    case: CaseFile,
    did: Did = "",
    result: Annotated[str, typer.Option(help="pass, fail or aborted; readings can say it instead.")] = "",
    reading: Annotated[list[str] | None, typer.Option(metavar="READING", help=f"As {FORM}.")] = None,
    code: Annotated[
        list[str] | None,
        typer.Option(metavar="CODE", help="As 'B16A1-23 0x2F radar_front', or none."),
    ] = None,
    event: Annotated[str, typer.Option(metavar="EVENT", help="What happened, as ev_seat_out.")] = "",
    part: Annotated[str, typer.Option(help="The part an event is about.")] = "",
    side: Annotated[str, typer.Option(help="left, right, front, rear, front_left ...")] = "",
    system: Annotated[str, typer.Option(help="The system an event is about.")] = "",
    waive: Waived = "",
    why: Annotated[str, typer.Option(help="Why it is waived.")] = "",
    by: Annotated[str, typer.Option(help="Who did it, saw it or decided it.")] = "",
    at: Annotated[str, typer.Option(metavar="WHEN", help="Date, or date and time; now when left out.")] = "",
    note: Annotated[str, typer.Option(help="Anything else worth keeping.")] = "",
    pack: PackDirs = None,
) -> None:
    """Append a dated result, event or waiver to the log; nothing that is there is changed.

    Asks when called without --did, --event or --waive.

    Example: knockon record case.yaml --did ocs_check --reading 'empty=-2.56..-2.25 lb x20' --by "R. Lind"
    """
    program = read_program(pack, case)
    given = {
        "did": did,
        "event": event,
        "waived": waive,
        "result": result,
        "part": part,
        "side": side,
        "system": system,
        "why": why,
        "by": by,
        "note": note,
    }
    if not (did or event or waive):
        from .record_prompts import ask

        asked = ask(make_plan(program, read_case(case, program), with_questions=False), program)
        given |= {k: v for k, v in asked.items() if isinstance(v, str)}
        reading, code = asked.get("reading", reading), asked.get("code", code)
    moment = at.replace(" ", "T") or datetime.datetime.now().strftime("%Y-%m-%dT%H:%M")
    entry: dict[str, Any] = {"at": moment} | {k: _text(v) for k, v in given.items() if v}
    readings = _readings(reading or [], code)
    if readings:
        entry["readings"] = readings
    if did and not (event or waive or result or readings):
        raise InputError(_without_outcome(did))
    before, after = append(case, entry, program)
    written = f"written to {case}: {moment.replace('T', ' ')} {did_words(entry, program)}"
    sys.stdout.write(page().wrap(written) + "\n")
    old, new = (make_plan(program, c, with_questions=False) for c in (before, after))
    sys.stdout.write(recorded_text(old, new, lines_of(entry, new, program), page()))


def _text(typed: str) -> str:
    """What was typed as text a file can hold; bytes that are none are marked."""
    return typed.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _readings(typed: Iterable[str], codes: list[str] | None) -> dict[str, Any]:
    readings: dict[str, Any] = {}
    try:
        for text in typed:
            add_typed(text, readings)
        if codes is not None:
            readings["codes"] = [typed_code(c) for c in codes if c.strip() and c.strip() != "none"]
    except ReadingError as error:
        messages = Messages()
        messages.add("KN322", error.cause, next_step=error.next_step)
        raise InputError(messages) from error
    return readings


def _without_outcome(did: str) -> Messages:
    messages = Messages()
    step = "add --result pass, fail or aborted, or --reading with what was read"
    messages.add("KN328", f"`{did}` is said to be done, but not with what outcome", next_step=step)
    return messages


def append(path: Path, entry: dict[str, Any], program: Program) -> tuple[Case, Case]:
    """Append an entry under the file's lock; the case before and after. InputError writes nothing."""
    with locked(path):
        before = read_case(path, program)
        text = append_entry(path.read_bytes().decode("utf-8"), str(path), entry)
        after = checked(text, str(path), program, appended=True)
        write_atomically(path, text)
    return before, after


def did_words(entry: dict[str, Any], program: Program) -> str:
    """What was written, in the trade's words."""
    if "event" in entry:
        return program.events[entry["event"]].title
    operation, _, place = str(entry.get("did") or entry["waived"]).partition(".")
    where = (place or entry.get("side", "")).replace("_", " ")
    title = program.operations[operation].title + (f" - {where}" if where else "")
    return f"{title}, waived" if "waived" in entry else title


def lines_of(entry: dict[str, Any], plan: Plan, program: Program) -> list[str]:
    """The lines an entry is about; of those not on the plan only the first."""
    if "event" in entry:
        return []
    operation, _, place = str(entry.get("did") or entry["waived"]).partition(".")
    places = expand(place or entry.get("side", ""), program.operations[operation].per)
    ids = [line_id((operation, p)) for p in places]
    return [i for i in ids if plan.line(i) is not None] or ids[:1]
