"""Which packs a command of the bench works on, and how many cases and cores."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated

import typer

from ..engine.load.pack import built_in_folders

CasesPath = Annotated[Path, typer.Argument(metavar="CASES", help="A folder of cases, or a JSON Lines file.")]
Workers = Annotated[
    int,
    typer.Option("--workers", min=1, max=512, help="How many processes work at once; all cores by default."),
]
MemoryMB = Annotated[
    int, typer.Option("--memory", min=0, metavar="MB", help="Memory one process may use; 0 for no limit.")
]
Seconds = Annotated[float, typer.Option("--seconds", min=0, help="Time one case may take; 0 for no limit.")]
CORES = os.cpu_count() or 1
MEMORY_MB = 2048
SECONDS = 30.0


def pack_folders(given: Sequence[Path] | None) -> list[Path]:
    """The folders of a stack, lowest first. Built-in packs may be named; none given means all of those."""
    built_in = {folder.name: folder for folder in built_in_folders()}
    if not given:
        return list(built_in.values())
    return [built_in.get(str(p), p) if not p.exists() else p for p in given]


def ticker(stream_label: str) -> Callable[[int, int], None]:
    """Shows on a terminal how many cases are done and how many could not be; silent elsewhere."""
    shown = sys.stderr.isatty()

    def tick(done: int, bad: int) -> None:
        if shown and done % 50 == 0:
            left_out = f", {bad:,} left out" if bad else ""
            sys.stderr.write(f"\r{stream_label}: {done:,} cases done{left_out} ")
            sys.stderr.flush()

    return tick


def end_tick() -> None:
    """Leave the progress line behind."""
    if sys.stderr.isatty():
        sys.stderr.write("\r" + " " * 60 + "\r")
