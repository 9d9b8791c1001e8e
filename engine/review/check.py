"""The whole review of a stack of packs: everything wrong or doubtful, in one run."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from ..diagnostics.codes import CODES
from ..diagnostics.message import Culprit, InputError, Message, Messages
from ..diagnostics.nearest import nearest
from ..infer.compile import compile_program
from ..load.pack import load_program
from ..model.program import Acceptance, PackId, Program
from ..model.record import dataclass
from ..model.span import NOWHERE, Span
from .dates import dated
from .firing import never_fire
from .holds import never_released
from .limits import limits
from .overlap import overlaps
from .unused import unused

LEVELS = ("error", "warning", "note")
DOUBTS = "KN4"  # the codes a pack may accept: what cannot be loaded cannot be excused


@dataclass(frozen=True, slots=True)
class Review:
    """What was found. `program` is None when the packs could not be read whole; then no rule was compared."""

    findings: tuple[Message, ...]
    accepted: tuple[tuple[Message, Acceptance], ...]
    lines: Mapping[str, Sequence[str]]
    program: Program | None


def check(folders: Sequence[Path], date: str = "") -> Review:
    """Review packs, lowest first. Sources are measured at `date` (YYYY-MM-DD), else at their own pack's date.

    ValueError when `date` is no date.
    """
    today = datetime.date.fromisoformat(date) if date else None
    messages = Messages()
    try:
        program = load_program(folders, messages)
        compile_program(program)
    except InputError as error:
        messages.extend(error.messages)
        text = "the packs could not be read whole, so their rules were not compared"
        messages.add("KN400", text, next_step="correct the errors, then check again", level="note")
        return Review(_sorted(messages.items), (), messages.lines, None)
    found, accepted = review(program, today)
    return Review(_sorted([*messages.items, *found]), tuple(accepted), messages.lines, program)


def review(
    program: Program, today: datetime.date | None = None
) -> tuple[list[Message], list[tuple[Message, Acceptance]]]:
    """The findings of a linked program that stand, and those its packs accept with the acceptance."""
    every = [
        m for look in (never_fire, overlaps, never_released, limits, dated, unused) for m in look(program)
    ]
    every += [*_stale(program, today), *_untold(program)]
    places = _places(program)
    standing, accepted = [], []
    for message in every:
        spans = [c.span for c in message.culprits]
        by = next((a for a in program.accepted if a.code == message.code and places.get(a.at) in spans), None)
        if by is None or not by.reason.strip():
            standing.append(message)
        else:
            accepted.append((message, by))
    used = {a for _, a in accepted}
    return [*standing, *_acceptances(program, used, places)], accepted


def _stale(program: Program, today: datetime.date | None) -> Iterator[Message]:
    for source in program.sources.values():
        pack = _pack_of(source.span, program)
        try:
            measured = today or datetime.date.fromisoformat(pack.date)
            age = (measured - datetime.date.fromisoformat(source.reviewed)).days
        except ValueError:
            text = f"`{source.reviewed}` of source `{source.id}` is no date of the calendar"
            yield Message("KN401", text, (Culprit(source.span),), next_step="write the day it was last read")
            continue
        if pack.review_days and age > pack.review_days:
            text = f"`{source.id}` ({source.title}) was last reviewed {age} days before {measured}"
            step = f"read it again and correct `reviewed`; `{pack.name}` allows {pack.review_days} days"
            yield Message("KN401", text, (Culprit(source.span),), next_step=step, level="warning")


def _untold(program: Program) -> Iterator[Message]:
    """A pack that says what its versions changed has to say it of the one it is."""
    for pack in program.packs:
        if pack.changes and pack.version not in dict(pack.changes):
            text = f"`changes` of `{pack.name}` says nothing of version {pack.version}"
            step = f"add `{pack.version}: what changed, and which plans it alters`"
            yield Message("KN405", text, (Culprit(pack.changes_span),), next_step=step, level="warning")


def _pack_of(span: Span, program: Program) -> PackId:
    return next(p for p in program.packs if span.file.startswith(f"{p.folder}/"))


def _places(program: Program) -> dict[str, Span]:
    """Where each thing a finding can be about is written, by its id."""
    shelves = (
        program.rules,
        program.operations,
        program.systems,
        program.facts,
        program.derived,
        program.events,
    )
    places = {id_: item.span for shelf in (*shelves, program.sources) for id_, item in shelf.items()}
    return {id_: span for id_, span in places.items() if span != NOWHERE}


def _acceptances(program: Program, used: set[Acceptance], places: Mapping[str, Span]) -> Iterator[Message]:
    """Acceptances that excuse nothing. Those of lower packs are judged when their own pack is on top."""
    for a in program.accepted:
        at = (Culprit(a.span),)
        if not a.reason.strip():
            yield Message(
                "KN441", f"`{a.code}` is accepted without a reason", at, next_step="say why it may stay"
            )
        elif a.code not in CODES or not a.code.startswith(DOUBTS):
            known = [c for c in CODES if c.startswith(DOUBTS)]
            text = f"`{a.code}` is no finding that can be accepted"
            yield Message("KN441", text, at, nearest(a.code, known), f"one of: {', '.join(known)}")
        elif a.at not in places and _pack_of(a.span, program) == program.packs[-1]:
            text = f"nothing is called `{a.at}`, so nothing there can be accepted"
            yield Message(
                "KN441", text, at, nearest(a.at, places), "name a rule, operation, system, fact or source"
            )
        elif a not in used and _pack_of(a.span, program) == program.packs[-1]:
            text = f"`{a.code}` is accepted at `{a.at}`, and there is no such finding"
            yield Message("KN440", text, at, next_step="take the acceptance out", level="warning")


def _sorted(messages: Sequence[Message]) -> tuple[Message, ...]:
    """Errors first, then by code and place."""
    return tuple(
        sorted(messages, key=lambda m: (LEVELS.index(m.level), m.code, [c.span for c in m.culprits]))
    )
