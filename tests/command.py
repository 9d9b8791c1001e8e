"""The command as tests run it: in this process with the built-in packs read once, or installed."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import NamedTuple

from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.cache import built_in_folders, kept
from knockon.engine.load.pack import PackFiles, load_program, read_pack
from knockon.engine.model.program import Program

TOP = Path(__file__).parents[1]
PLAIN = {"COLUMNS": "80", "NO_COLOR": "1"}


class Ran(NamedTuple):
    """What one run of the command left behind."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@cache
def built_in(count: int = 3) -> Program:
    """The first so many of the built-in packs, linked once for all tests of this process; 1 is base alone."""
    return load_program(built_in_folders()[:count])


def installed(*arguments: str, cwd: Path = TOP, **environment: str) -> Ran:
    """One run of the installed command, 80 columns wide, in a process of its own."""
    command = [str(Path(sys.executable).with_name("knockon")), *arguments]
    ran = subprocess.run(
        command, cwd=cwd, env={**os.environ, **PLAIN, **environment}, capture_output=True, timeout=100
    )
    return Ran(ran.returncode, ran.stdout.decode(), ran.stderr.decode())


@cache
def _built_in(folder: Path) -> tuple[PackFiles | None, Messages]:
    messages = Messages()
    return read_pack(folder, messages), messages


def read_pack_once(folder: Path, messages: Messages) -> PackFiles | None:
    """`read_pack`, but the built-in packs are read once per run: they are most of the time of a command."""
    if folder not in built_in_folders():
        return read_pack(folder, messages)
    found, said = _built_in(folder)
    messages.extend(said)
    messages.lines.update(said.lines)
    return found


_KEPT: dict[str, Program] = {}


def kept_once(key: str) -> Program | None:
    """`kept`, but a program is built once per run of the tests: it is frozen, and its key is its content."""
    found = _KEPT.get(key) or kept(key)
    if found is not None:
        _KEPT[key] = found
    return found
