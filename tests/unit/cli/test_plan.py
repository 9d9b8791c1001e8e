"""`knockon plan`: formats, exit codes, a file written whole or not at all, and what happens when an engine fails."""

from __future__ import annotations

import builtins
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest
from command import TOP, Run, installed
from knockon.cli import files, plan
from knockon.engine.diagnostics.message import InferenceFault
from knockon.engine.infer import run as infer_run

CASE, OPEN = "examples/front-corner/case.yaml", "examples/parked-tap/case.yaml"
ONE_ENGINE = "One engine evaluated this plan"


@pytest.mark.parametrize(
    ("format", "starts"),
    [
        ("text", "WORK PLAN  lr-1041"),
        ("json", '{\n "version": 1'),
        ("html", "<!"),
        ("markdown", "#"),
        ("csv", ""),
    ],
)
def test_every_format_is_written_whole_to_stdout_and_nothing_else(
    run_knockon: Run, format: str, starts: str
) -> None:
    ran = run_knockon("plan", CASE, "--format", format)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith(starts)
    assert ran.out.endswith("\n")
    assert "ocs_check" in ran.out
    assert "Traceback" not in ran.out


def test_exit_codes(run_knockon: Run) -> None:
    assert run_knockon("plan", CASE).code == 0
    assert run_knockon("plan", OPEN).code == 1
    assert run_knockon("plan", "no-such.yaml").code == 2
    assert run_knockon("plan", CASE, "--pack", "no-such-pack").code == 2
    assert run_knockon("plan", CASE, "--format", "stone").code == 2
    assert run_knockon("plan").code == 2
    assert run_knockon("plan", "--help").code == 0


def test_messages_go_to_stderr_and_leave_stdout_to_the_plan(run_knockon: Run, tmp_path: Path) -> None:
    case = tmp_path / "case.yaml"
    case.write_text(
        (TOP / CASE).read_text("utf-8").replace("part: headlamp_assy, side: right", "part: headlamp_assy")
    )
    ran = run_knockon("plan", "case.yaml", cwd=tmp_path)
    assert ran.code == 0
    assert ran.err.startswith("KN309 note: ")
    assert ran.out.startswith("WORK PLAN")


def test_out_writes_the_same_bytes_and_says_nothing(run_knockon: Run, tmp_path: Path) -> None:
    target = tmp_path / "plan.txt"
    ran = run_knockon("plan", CASE, "--out", str(target))
    assert (ran.code, ran.out, ran.err) == (0, "", "")
    assert target.read_text("utf-8") == run_knockon("plan", CASE).out
    assert [p.name for p in tmp_path.iterdir()] == ["plan.txt"]


def test_out_keeps_the_rights_of_the_old_file(run_knockon: Run, tmp_path: Path) -> None:
    target = tmp_path / "plan.txt"
    target.write_text("old")
    target.chmod(0o640)
    run_knockon("plan", CASE, "--out", str(target))
    assert target.stat().st_mode & 0o777 == 0o640
    assert target.read_text("utf-8").startswith("WORK PLAN")


def _full(*_: object) -> None:
    raise OSError(28, "No space left on device")


def _stop(*_: object) -> None:
    raise KeyboardInterrupt


@pytest.mark.parametrize(
    ("broken", "fault", "code"),
    [("fsync", _full, 2), ("replace", _full, 2), ("fsync", _stop, 130), ("replace", _stop, 130)],
)
def test_a_run_that_fails_while_writing_leaves_the_old_file_whole(
    run_knockon: Run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    broken: str,
    fault: Callable[..., None],
    code: int,
) -> None:
    target = tmp_path / "plan.txt"
    target.write_text("the old plan")
    run_knockon("plan", CASE)
    monkeypatch.setattr(files.os, broken, fault)
    ran = run_knockon("plan", CASE, "--out", str(target))
    assert ran.code == code
    assert target.read_text() == "the old plan"
    assert [p.name for p in tmp_path.iterdir()] == ["plan.txt"]
    assert "Traceback" not in ran.err


def test_a_wrong_case_leaves_the_old_file_whole(run_knockon: Run, tmp_path: Path) -> None:
    target, case = tmp_path / "plan.txt", tmp_path / "case.yaml"
    target.write_text("the old plan")
    case.write_text("case: a\n")
    assert run_knockon("plan", str(case), "--out", str(target)).code == 2
    assert target.read_text() == "the old plan"


def test_a_folder_that_is_not_there_is_wrong_input(run_knockon: Run, tmp_path: Path) -> None:
    ran = run_knockon("plan", CASE, "--out", str(tmp_path / "nowhere" / "plan.txt"))
    assert ran.code == 2
    assert "cannot write" in ran.err


def test_engines_that_disagree_leave_no_plan_and_exit_3(
    run_knockon: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def disagree(*_: object) -> None:
        raise InferenceFault("the engines disagree on R041", "R041", "d_jolt")

    monkeypatch.setattr(infer_run, "certify", disagree)
    target = tmp_path / "plan.txt"
    ran = run_knockon("plan", CASE, "--out", str(target))
    assert (ran.code, ran.out) == (3, "")
    assert "the engines disagree on R041" in ran.err
    assert "there is no plan" in ran.err
    assert not target.exists()


def test_a_fault_of_ours_is_one_sentence_and_exit_3(
    run_knockon: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(*_: object, **__: object) -> None:
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(plan, "evidence_of", break_down)
    ran = run_knockon("plan", CASE)
    assert (ran.code, ran.out) == (3, "")
    assert "a fault of ours" in ran.err
    assert "Traceback" not in ran.err


def test_without_the_rules_engine_the_check_decides_alone_and_the_plan_says_so(
    run_knockon: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    both = run_knockon("plan", CASE, "--format", "json")
    _without_library(monkeypatch)
    alone = run_knockon("plan", CASE, "--format", "json")
    first, second = json.loads(both.out), json.loads(alone.out)
    assert first.pop("engines") == ["rules engine", "independent check"]
    assert second.pop("engines") == ["independent check"]
    assert first == second
    assert (alone.code, alone.err) == (both.code, both.err) == (0, "")
    for format in ("markdown", "html"):
        assert (
            "evaluated by independent check (one engine only"
            in run_knockon("plan", CASE, "--format", format).out
        )
    assert ONE_ENGINE in run_knockon("plan", CASE).out
    assert ONE_ENGINE in run_knockon("plan", CASE, "--check-only").out


def _without_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a machine where the library was never built."""
    real = builtins.__import__

    def without(name: str, *rest: object) -> ModuleType:
        if name.startswith("durable"):
            raise ImportError(name)
        return real(name, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", without)
    for module in [m for m in sys.modules if m.startswith("durable")]:
        monkeypatch.delitem(sys.modules, module)


def test_a_reader_that_stops_reading_is_no_fault() -> None:
    knockon = Path(sys.executable).with_name("knockon")
    ran = subprocess.run(
        f"{knockon} plan {CASE} | head -n 1", shell=True, cwd=TOP, capture_output=True, text=True, timeout=100
    )
    assert ran.stdout.startswith("WORK PLAN")
    assert ran.stderr == ""


def test_the_width_of_the_page_follows_the_terminal_within_bounds() -> None:
    widths = {
        columns: max(map(len, installed("plan", CASE, COLUMNS=columns).out.splitlines()))
        for columns in ("40", "120", "500")
    }
    assert widths["40"] <= 40
    assert 80 < widths["120"] <= 120
    assert widths["500"] <= 120
