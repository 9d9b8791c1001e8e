"""What tests share: the built-in program, the command in this process, the way to renew golden files."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pytest
from command import PLAIN, TOP, Ran, Run, built_in, kept_once, read_pack_once
from knockon.cli import app, typed
from knockon.engine.load import cache, pack
from knockon.engine.model.program import Program

# what tests keep for each other is looked through for garbage a hundred times less often: it is a tenth of the time
gc.set_threshold(70_000, 20, 20)

# the same inputs in every run, so that a change is not blamed for what chance found; KNOCKON_FUZZ tries new ones;
# how long one takes says how busy the machine is
hypothesis.settings.register_profile("same", derandomize=True, database=None, deadline=None)
if "KNOCKON_FUZZ" not in os.environ:
    hypothesis.settings.load_profile("same")


def pytest_addoption(parser: pytest.Parser) -> None:
    """`pytest tests/golden --update-golden` rewrites every expected file; read the diff before you commit."""
    parser.addoption("--update-golden", action="store_true", help="write what came out as what is expected")


@pytest.fixture
def update_golden(request: pytest.FixtureRequest) -> bool:
    """Whether expected files are to be rewritten."""
    return bool(request.config.getoption("--update-golden"))


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Linked programs are kept for this run only: one of yesterday's code would hide today's mistakes."""
    before = os.environ.get("KNOCKON_CACHE")
    os.environ["KNOCKON_CACHE"] = str(tmp_path_factory.mktemp("cache"))
    yield
    if before is None:
        del os.environ["KNOCKON_CACHE"]
    else:
        os.environ["KNOCKON_CACHE"] = before


@pytest.fixture(scope="session")
def program() -> Program:
    """The built-in packs, linked."""
    return built_in()


@pytest.fixture
def run_knockon(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command in this process, 80 columns wide, without emphasis."""
    for name, value in PLAIN.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(pack, "read_pack", read_pack_once)
    monkeypatch.setattr(cache, "kept", kept_once)

    def run(*arguments: str, cwd: Path = TOP) -> Ran:
        monkeypatch.chdir(cwd)
        monkeypatch.setattr(sys, "argv", ["knockon", *arguments])
        capsys.readouterr()
        typed.app.registered_commands.clear()  # a process of its own starts without those of the runs before
        typed.app.registered_groups.clear()
        with pytest.raises(SystemExit) as end:
            app.main()
        gc.unfreeze()  # nor what they kept
        seen = capsys.readouterr()
        return Ran(int(end.value.code or 0), seen.out, seen.err)

    return run
