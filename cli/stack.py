"""Which packs a command of the bench works on, who does the work, and how far it has come."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from ..engine.load.cache import built_in_folders
from ..engine.review.batch import Job, Result, run_cases
from ..engine.review.cases import Item, body_of_cases


class Form(StrEnum):
    """Text for people, JSON for programs."""

    TEXT = "text"
    JSON = "json"


CasesPath = Annotated[Path, typer.Argument(metavar="CASES", help="A folder of cases, or a JSON Lines file.")]
Scheduler = Annotated[
    str, typer.Option(metavar="ADDRESS", help="Work on this Dask cluster, not on this machine.")
]
Workers = Annotated[int, typer.Option(min=1, max=512, help="How many processes; one per core by default.")]
MemoryMB = Annotated[
    int, typer.Option(min=0, metavar="MB", help="Memory one process may use; 0 for no limit.")
]
Seconds = Annotated[float, typer.Option(min=0, help="Time one case may take; 0 for no limit.")]
CORES = os.cpu_count() or 1
MEMORY_MB = 2048
SECONDS = 30.0


def pack_folders(given: Sequence[Path] | None) -> list[Path]:
    """The folders of a stack, lowest first. Built-in packs may be named; none given means all of those."""
    built_in = {folder.name: folder for folder in built_in_folders()}
    if not given:
        return list(built_in.values())
    return [built_in.get(str(p), p) if not p.exists() else p for p in given]


def one_or_none(given: Path) -> list[Path]:
    """The folder of one pack; `none` stands for no pack, as long as no folder is called so."""
    return [] if str(given) == "none" and not given.exists() else pack_folders([given])


def cases_at(path: Path, scheduler: str) -> Iterator[Item]:
    """The cases; a cluster needs the whole path of a folder, as it works elsewhere."""
    return body_of_cases(Path(os.path.realpath(path)) if scheduler and path.is_dir() else path)


def run_everywhere(
    items: Iterable[Item], job: Job, workers: int, scheduler: str
) -> Generator[Result, None, None]:
    """The results of a job, by this machine's processes or by a cluster."""
    if not scheduler:
        yield from run_cases(items, job, workers=workers)
        return
    from ..engine.review.fleet import Fleet

    fleet = Fleet(scheduler)
    size = fleet.size
    fleet.shutdown()
    yield from run_cases(items, job, workers=size, pool=lambda: Fleet(scheduler))


def ticker(what: str) -> Callable[[int, int], None]:
    """Shows on a terminal how many cases are done and how many were left out; silent elsewhere."""

    def tick(done: int, bad: int) -> None:
        if done % 50 == 0:
            _show(f"{what}: {done:,} cases done" + (f", {bad:,} left out" if bad else ""))

    return tick


def counter(what: str, total: int) -> Callable[[int, str], None]:
    """Shows on a terminal which of so many is being worked on; silent elsewhere."""
    return lambda number, name: _show(f"{what} {number + 1} of {total}: {name}")


def end_tick() -> None:
    """Take the progress line away."""
    _show("")


def _show(text: str) -> None:
    if sys.stderr.isatty():
        sys.stderr.write(f"\r{text:<70}" + ("" if text else "\r"))
        sys.stderr.flush()
