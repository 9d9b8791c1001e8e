"""`knockon supplement`: what changed between two case files, or since a date, and why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from ..engine.diagnostics.message import InputError, Messages
from ..engine.load.log import check_date
from ..engine.model.case import Case
from ..engine.model.record import replace
from ..engine.model.span import Span
from ..engine.model.supplement import Supplement
from ..engine.plan.build import evidence_of
from ..engine.plan.supplement import supplement as compare
from .files import deliver
from .inputs import Format, read_case, read_program
from .page import page

if TYPE_CHECKING:
    from .options import OutFile, PackDirs, typer


def supplement(
    before: Annotated[
        Path, typer.Argument(metavar="BEFORE", help="The earlier case file, or the only one.", readable=False)
    ],
    after: Annotated[
        Path | None, typer.Argument(metavar="[AFTER]", help="The later case file.", readable=False)
    ] = None,
    since: Annotated[
        str, typer.Option(metavar="DATE", help="One case file: against its log as it stood on that day.")
    ] = "",
    pack: PackDirs = None,
    pack_before: Annotated[
        list[Path] | None,
        typer.Option(metavar="DIR", help="The packs of the earlier plan, if they were others; repeatable."),
    ] = None,
    format: Annotated[Format, typer.Option(help="How to write it.")] = Format.TEXT,
    out: OutFile = None,
) -> None:
    """Print lines added, dropped, firmed, changed in strength or voided, each with what made the difference.

    Example: knockon supplement case.yaml --since 2026-03-05
    """
    _check(before, after, since)
    program = read_program(pack)
    earlier = read_program(pack_before) if pack_before else program
    old = read_case(before, earlier)
    new = read_case(after or before, program)
    names = (f"{before}", f"{after or before}")
    if since:
        old, names = as_of(old, since), (f"{before} as its log stood on {since}", f"{before}")
    found = compare(evidence_of(earlier, old), evidence_of(program, new), *names)
    text = write(found, format)
    deliver(text, out, before, after or before)


def as_of(case: Case, date: str) -> Case:
    """The case with what its log held at the end of that day (or up to that minute)."""
    moment = date.replace(" ", "T")
    return replace(case, log=tuple(e for e in case.log if e.at[: len(moment)] <= moment))


def write(found: Supplement, format: Format) -> str:
    """The supplement in one format; each module is loaded only when used."""
    if format is Format.HTML:
        from ..engine.render.html import supplement_html

        return supplement_html(found)
    if format is Format.MARKDOWN:
        from ..engine.render.markdown import supplement_markdown

        return supplement_markdown(found)
    if format is Format.CSV:
        from ..engine.render.csv import supplement_csv

        return supplement_csv(found)
    from ..engine.render.supplement import supplement_json, supplement_text

    return supplement_json(found) if format is Format.JSON else supplement_text(found, page())


def _check(before: Path, after: Path | None, since: str) -> None:
    messages = Messages()
    if since:
        check_date(since, Span("", 0, 0), messages)
    if bool(since) == (after is not None):
        step = "`knockon supplement BEFORE AFTER` or `knockon supplement CASE --since DATE`"
        messages.add("KN510", "a supplement compares two case files, or one with its past", next_step=step)
    if messages.errors:
        raise InputError(messages)
