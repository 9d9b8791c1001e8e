"""The short road to a command gives what the command-line library gives: same answer, messages and exit code."""

from __future__ import annotations

import inspect
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import get_type_hints

import pytest
from command import PLAIN as PLAIN_PAGE
from command import TOP, Run
from knockon.cli import app, options, page, plan, typed
from knockon.cli.commands import COMMANDS, PLAIN, command, straight
from knockon.engine.diagnostics.message import InferenceFault

CASE, OPEN = "examples/front-corner/case.yaml", "examples/parked-tap/case.yaml"
BOTH_WAYS = {"straight": "main()", "library": "app.straight = lambda words: None; main()"}


@pytest.mark.parametrize(
    "words",
    [
        ["plan", CASE],
        ["plan", OPEN],
        *(["plan", f"tests/golden/bad/{n}/case.yaml"] for n in ("duplicate-key", "many-problems-at-once", "binary")),
        ["plan", "no-such.yaml"],
        ["plan", "examples"],
        ["plan", ""],
        ["plan", "~"],
        ["plan", "n" * 5000],
        ["plan", "a\nb\x1b[2J.yaml"],
        ["plan", os.fsdecode(b"\xff.yaml")],
        ["why", CASE, "ocs_check"],
        ["why", CASE, "ocs_chekc"],
        ["why", CASE, ""],
        ["why", "no-such.yaml", "ocs_check"],
        ["why-not", OPEN, "ocs_zero"],
        ["why-not", OPEN, "ocs_zero.roof"],
        ["supplement", OPEN, CASE],
        ["supplement", CASE, "no-such.yaml"],
        ["handover", CASE],
        ["handover", "pyproject.toml"],
    ],
    ids=lambda words: " ".join(words)[:60],
)  # fmt: skip
def test_arguments_alone_take_the_short_road_and_come_to_the_same(
    run_knockon: Run, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    with monkeypatch.context() as without_library:
        without_library.setattr(typed, "typed", None)
        found = run_knockon(*words)
    monkeypatch.setattr(app, "straight", lambda _: None)
    assert run_knockon(*words) == found
    assert found.out or found.err


@pytest.mark.parametrize(
    "words",
    [
        [], [""], ["plan"], ["plan", CASE, CASE], ["plan", CASE, "--full"], ["plan", "--", CASE], ["plan", "-h"],
        ["plan", "-"], ["--debug", "plan", CASE], ["why", CASE], ["supplement", CASE], ["schema", "case"],
        ["intake", CASE], ["record", CASE], ["pack", "try"], ["batch", "cases"], ["pla", CASE], ["Plan", CASE],
    ],
    ids=" ".join,
)  # fmt: skip
def test_everything_else_is_the_library_s(words: list[str]) -> None:
    assert straight(words) is None


@pytest.mark.parametrize("name", PLAIN)
def test_arguments_are_those_of_the_signature(name: str) -> None:
    found = command(name)
    hints = get_type_hints(found, vars(options) | found.__globals__)
    given, *others = PLAIN[name], *inspect.signature(found).parameters.values()
    assert [hints[p.name] for p in others[: len(given)]] == [
        given[i] if p.default is p.empty else given[i] | None for i, p in enumerate(others[: len(given)])
    ]
    assert all(p.default is not p.empty for p in others[len(given) :])
    assert name in COMMANDS


@pytest.mark.parametrize(
    "error",
    [KeyboardInterrupt(), InferenceFault("they disagree"), OSError(28, "No space left on device"),
     PermissionError(13, "Permission denied", "case.yaml"), ZeroDivisionError("by nought"), RecursionError("deep")],
    ids=lambda error: type(error).__name__,
)  # fmt: skip
def test_what_goes_wrong_on_the_way_is_told_alike(
    run_knockon: Run, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(plan, "evidence_of", broken)
    monkeypatch.setattr(app, "_give_up_stdout", lambda: None)  # it would close what this run is seen by
    found = run_knockon("plan", CASE)
    monkeypatch.setattr(app, "straight", lambda _: None)
    assert run_knockon("plan", CASE) == found
    assert found.code != 0
    assert found.err


def test_a_file_that_must_not_be_read_is_told_alike(
    run_knockon: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    shutil.copy(TOP / CASE, tmp_path)
    monkeypatch.setattr(os, "access", lambda *_, **__: False)
    found = run_knockon("plan", "case.yaml", cwd=tmp_path)
    monkeypatch.setattr(app, "straight", lambda _: None)
    assert run_knockon("plan", "case.yaml", cwd=tmp_path) == found


@pytest.mark.parametrize("words", [("plan", CASE), ("why-not", OPEN, "ocs_zero"), ("plan", "no-such.yaml")])
@pytest.mark.parametrize("ends", ["reader gone", "full disk", "closed", "message nobody reads"])
def test_a_process_of_its_own_ends_alike(words: tuple[str, ...], ends: str) -> None:
    """As a shell starts it: a pipe whose reader has gone, a disk that is full, streams that are closed."""
    seen = []
    for way in BOTH_WAYS.values():
        reader, gone = os.pipe()
        os.close(reader)
        full = os.open("/dev/full", os.O_WRONLY)
        out = {"reader gone": gone, "full disk": full}.get(ends, subprocess.PIPE)
        ran = subprocess.run(
            [sys.executable, "-c", f"from knockon.cli import app; from knockon.cli.app import main; {way}", *words],
            cwd=TOP, env={**os.environ, **PLAIN_PAGE}, stdout=out, timeout=100,
            stderr=gone if ends == "message nobody reads" else subprocess.PIPE,
            preexec_fn=(lambda: os.close(1)) if ends == "closed" else None,
        )  # fmt: skip
        os.close(gone)
        os.close(full)
        seen.append((ran.returncode, ran.stdout, ran.stderr))
    assert seen[0] == seen[1]
    assert b"Traceback" not in (seen[0][2] or b"")
    assert b"Exception ignored" not in (seen[0][2] or b"")


HEAVY = {
    "typer", "click", "rich", "dataclasses", "inspect", "shutil", "textwrap", "difflib", "decimal", "copy", "glob",
    "tempfile", "random", "subprocess", "platform", "threading", "jsonschema", "pint", "jinja2", "traceback",
}  # fmt: skip


def test_a_plan_from_kept_packs_loads_nothing_it_does_not_use() -> None:
    told = (
        "import sys; before = set(sys.modules); from knockon.cli.app import main\n"
        "try: main()\n"
        "finally: print(*{*sys.modules} - before, file=sys.stderr)"
    )
    for _ in range(2):  # the first may have to read the packs
        ran = subprocess.run(
            [sys.executable, "-c", told, "plan", CASE],
            cwd=TOP, env={**os.environ, **PLAIN_PAGE}, capture_output=True, text=True, timeout=100,
        )  # fmt: skip
    loaded = set(ran.stderr.split())
    assert "knockon.engine.plan.build" in loaded
    assert loaded & HEAVY == set()


@pytest.mark.parametrize("told", [None, "", "97", " 97 ", "1", "0", "-3", "wide", "9" * 5000, "９７"])
def test_the_width_is_the_one_the_standard_library_finds(
    monkeypatch: pytest.MonkeyPatch, told: str | None
) -> None:
    if told is None:
        monkeypatch.delenv("COLUMNS", raising=False)
    else:
        monkeypatch.setenv("COLUMNS", told)
    seen = shutil.get_terminal_size((80, 24)).columns
    assert page.page(sys.stdout).width == max(40, min(seen, page.WIDEST))
