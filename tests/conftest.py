"""What tests share: the built-in program, the command run in this process, and the one way to renew golden files."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest
from knockon.cli import app
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load import pack
from knockon.engine.load.pack import PackFiles, built_in_folders, load_program, read_pack
from knockon.engine.model.program import Program

TOP = Path(__file__).parents[1]


class Ran(NamedTuple):
    """What one run of the command left behind."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


def pytest_addoption(parser: pytest.Parser) -> None:
    """`pytest --update-golden tests/golden` rewrites every expected file; read the diff before committing it."""
    parser.addoption("--update-golden", action="store_true", help="write what came out as what is expected")


@pytest.fixture
def update_golden(request: pytest.FixtureRequest) -> bool:
    """Whether expected files are to be rewritten."""
    return bool(request.config.getoption("--update-golden"))


@cache
def _built_in(folder: Path) -> tuple[PackFiles | None, Messages]:
    messages = Messages()
    return read_pack(folder, messages), messages


def read_pack_once(folder: Path, messages: Messages) -> PackFiles | None:
    """`read_pack`, but the built-in packs are read once per test run: they are most of the time of a command."""
    if folder not in built_in_folders():
        return read_pack(folder, messages)
    found, said = _built_in(folder)
    messages.extend(said)
    messages.lines.update(said.lines)
    return found


@pytest.fixture(scope="session")
def program() -> Program:
    """The built-in packs, linked."""
    return load_program(built_in_folders())


@pytest.fixture
def run_knockon(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command in this process, 80 columns wide, without emphasis."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setattr(pack, "read_pack", read_pack_once)

    def run(*arguments: str, cwd: Path = TOP) -> Ran:
        monkeypatch.chdir(cwd)
        monkeypatch.setattr(sys, "argv", ["knockon", *arguments])
        capsys.readouterr()
        with pytest.raises(SystemExit) as end:
            app.main()
        seen = capsys.readouterr()
        return Ran(int(end.value.code or 0), seen.out, seen.err)

    return run
