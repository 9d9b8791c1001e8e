"""What the shell offers after TAB: line ids of the case named before, operations, names of packs."""

from __future__ import annotations

import os
from pathlib import Path

import typer

from ..engine.diagnostics.message import InferenceFault, InputError, Messages


def lines(context: typer.Context, incomplete: str) -> list[str]:
    """The line ids of the case that stands before the cursor; none while it cannot be read."""
    from ..engine.load.case import load_case
    from ..engine.plan.build import evidence_of
    from ..engine.plan.progress import line_id
    from .inputs import read_program

    words = [context.params.get("case"), *typed_so_far(dict(os.environ))]
    files = [Path(word) for word in words if word and Path(word).is_file()]
    try:
        program = read_program(context.params.get("pack"))
        found = evidence_of(program, load_case(files[0], program, Messages())).found.lines
    except (InputError, InferenceFault, IndexError, OSError):
        return []
    return [id_ for id_ in map(line_id, found) if id_.startswith(incomplete)]


def operations(incomplete: str) -> list[tuple[str, str]]:
    """Every operation of the built-in packs with its title."""
    from .inputs import read_program

    return [(o.id, o.title) for o in read_program(None).operations.values() if o.id.startswith(incomplete)]


def packs(incomplete: str) -> list[str]:
    """Names of built-in packs, and folders here that hold a pack."""
    from ..engine.load.cache import BUILT_IN

    here = [str(p.parent) for p in Path().glob("**/pack.yaml") if len(p.parts) < 6]
    return [name for name in (*BUILT_IN, *sorted(here)) if name.startswith(incomplete)]


def typed_so_far(environment: dict[str, str]) -> list[str]:
    """The words on the line being completed, without the program's own name."""
    return (
        environment.get("COMP_WORDS", "").split()[1:]
        or environment.get("_TYPER_COMPLETE_ARGS", "").split()[1:]
    )
