"""What commands share in their signatures, and what those of `commands.PLAIN` name there without loading it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import lines, operations

__all__ = ["Alone", "CaseFile", "OutFile", "PackDirs", "lines", "operations", "typer"]

# whether it can be read is for the reader to say, in its own words
CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="The case file (YAML).", readable=False)]
PackDirs = Annotated[
    list[Path] | None,
    typer.Option(
        "--pack", metavar="DIR", help="A pack to stack on the built-in ones, lowest first; repeatable."
    ),
]
OutFile = Annotated[Path | None, typer.Option(metavar="FILE", help="Write to a file instead of stdout.")]
Alone = Annotated[bool, typer.Option("--check-only", help="Evaluate by the independent check alone.")]
