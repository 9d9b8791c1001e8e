"""The installed command killed, crowded, or without room on the disk: every file is the old one or the new one, whole."""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from command import PLAIN, TOP
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load import cache
from knockon.engine.load.case import load_case
from knockon.engine.load.tree import parse_tree
from knockon.engine.model.program import Program
from written_pack import load, rule

pytestmark = pytest.mark.slow
KNOCKON = str(Path(sys.executable).with_name("knockon"))
EXAMPLE = (TOP / "examples/front-corner/case.yaml").read_text("utf-8")
SMALL = {"case": "x", "date": "2026-02-01", "intake": {"event_type": "collision", "area": ["front"]}}
ANSWERS = "1\n1\n2\nyes\n1\n" * 12


def start(*words: str, cwd: Path, stdin: int = subprocess.DEVNULL, **more: object) -> subprocess.Popen[str]:
    """The installed command under way."""
    return subprocess.Popen(
        [KNOCKON, *words], cwd=cwd, env={**os.environ, **PLAIN}, text=True, stdin=stdin,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, **more,  # type: ignore[call-overload]
    )  # fmt: skip


def ended(process: subprocess.Popen[str]) -> tuple[int, str, str]:
    """Exit code, stdout, stderr."""
    out, err = process.communicate(timeout=120)
    return process.returncode, out, err


def log_of(path: Path) -> list[dict[str, object]]:
    tree = parse_tree(path.read_text("utf-8"), "case.yaml", Messages())
    assert tree is not None
    return list(tree.value.get("log") or [])


def test_recording_from_many_processes_at_once_keeps_every_entry(tmp_path: Path) -> None:
    case = tmp_path / "case.yaml"
    case.write_text(EXAMPLE, "utf-8")
    before = len(log_of(case))
    # a run before them keeps the packs, so that they meet at the file
    assert ended(start("plan", "case.yaml", cwd=tmp_path))[0] == 0
    words = ("record", "case.yaml", "--event", "ev_seat_out", "--at", "2026-11-30T10:00", "--by")
    crowd = [start(*words, f"writer {n}", cwd=tmp_path) for n in range(6)]
    assert [ended(one)[0] for one in crowd] == [0] * 6
    assert {e["by"] for e in log_of(case)[before:]} == {f"writer {n}" for n in range(6)}
    assert [p.name for p in tmp_path.iterdir()] == ["case.yaml"]


def test_recording_killed_at_any_moment_leaves_a_whole_case(tmp_path: Path) -> None:
    case, moment = tmp_path / "case.yaml", random.Random(1)
    case.write_text(EXAMPLE, "utf-8")
    for n in range(8):
        before = case.read_text("utf-8")
        one = start("record", "case.yaml", "--event", "ev_seat_out", "--by", f"w {n}", cwd=tmp_path)
        time.sleep(moment.uniform(0.1, 1.2))
        one.kill()
        ended(one)
        assert case.read_text("utf-8").startswith(before)
        assert len(log_of(case)) - len(log_of_text(before)) in (0, 1)
    assert ended(start("record", "case.yaml", "--event", "ev_seat_out", cwd=tmp_path))[0] == 0
    assert [p.name for p in tmp_path.iterdir()] == ["case.yaml"]


def log_of_text(text: str) -> list[object]:
    tree = parse_tree(text, "case.yaml", Messages())
    assert tree is not None
    return list(tree.value.get("log") or [])


def test_intake_killed_at_any_moment_keeps_every_answer_it_showed(tmp_path: Path, program: Program) -> None:
    case, moment = tmp_path / "case.yaml", random.Random(2)
    for _ in range(3):
        case.write_text("case: a\ndate: 2026-11-20\n", "utf-8")
        one = start("intake", "case.yaml", "--check-only", cwd=tmp_path, stdin=subprocess.PIPE)
        assert one.stdin is not None
        one.stdin.write(ANSWERS)
        one.stdin.flush()
        time.sleep(moment.uniform(0.4, 2.5))
        one.kill()
        _, out, _ = ended(one)
        kept = load_case(case, program)
        assert kept.answers is not None
        if "[area]" in out:  # asked only once the answer before it was saved
            assert "event_type: " in case.read_text("utf-8")
    assert ended(start("plan", "case.yaml", cwd=tmp_path))[0] in (0, 1)


def test_a_batch_killed_again_and_again_loses_and_doubles_nothing(tmp_path: Path) -> None:
    body, out, moment = tmp_path / "c.jsonl", tmp_path / "r.jsonl", random.Random(3)
    body.write_text("".join(json.dumps({**SMALL, "case": f"c{n}"}) + "\n" for n in range(90)))
    words = ("batch", "c.jsonl", "--out", "r.jsonl", "--workers", "2", "--resume")
    kills = 0
    while kills < 4:
        one, before = start(*words, cwd=tmp_path), out.stat().st_size if out.exists() else 0
        while kills % 3 and one.poll() is None and (not out.exists() or out.stat().st_size <= before):
            time.sleep(0.005)  # at least a line further; one kill in three at any moment of the start
        time.sleep(moment.uniform(0, 0.1 if kills % 3 else 1.0))
        one.kill()
        if one.wait() == 0:
            break
        kills += 1
    assert ended(start(*words, cwd=tmp_path))[0] == 0
    assert kills > 2
    assert [json.loads(line)["case"] for line in out.read_text().splitlines()] == [f"c{n}" for n in range(90)]


def test_two_batches_to_one_file_do_not_mix(tmp_path: Path) -> None:
    (tmp_path / "c.jsonl").write_text("".join(json.dumps(SMALL) + "\n" for _ in range(60)))
    words = ("batch", "c.jsonl", "--out", "r.jsonl", "--workers", "1", "--resume")
    both = [ended(one) for one in [start(*words, cwd=tmp_path) for _ in range(2)]]
    assert sorted(code for code, _, _ in both) in ([0, 0], [0, 2])
    assert all("another run is writing it" in err for code, _, err in both if code == 2)
    numbers = [json.loads(line)["number"] for line in (tmp_path / "r.jsonl").read_text().splitlines()]
    assert numbers == list(range(60))


def _keep_for_ever(program: Program) -> None:
    n = 0
    while True:
        cache.keep(f"key{n % 3}", program)
        n += 1


def test_a_kill_while_the_cache_is_written_leaves_nothing_that_is_believed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = load(tmp_path / "pack", rule())
    monkeypatch.setenv("KNOCKON_CACHE", str(tmp_path / "cache"))
    moment = random.Random(4)
    for _ in range(60):
        child = multiprocessing.get_context("fork").Process(target=_keep_for_ever, args=(program,))
        child.start()
        time.sleep(moment.uniform(0.005, 0.05))
        assert child.pid is not None
        os.kill(child.pid, signal.SIGKILL)
        child.join()
        for key in ("key0", "key1", "key2"):
            found = cache.kept(key)
            assert found is None or found.rules == program.rules
    cache.keep("key0", program)
    assert len(list((tmp_path / "cache").iterdir())) <= 2 * cache.MOST_KEPT


# Disks


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 512 kB of its own, where this system lets us have one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=512k", "none", str(disk)], capture_output=True)
    if made.returncode:
        pytest.skip("no small disk can be mounted here")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


WRITES = (
    ("record", "case.yaml", "--event", "ev_seat_out"),
    ("intake", "case.yaml", "--check-only", "--everyone"),
    ("plan", "case.yaml", "--out", "plan.txt"),
    ("handover", "case.yaml", "--format", "html", "--out", "h.html"),
    ("batch", "c.jsonl", "--out", "r.jsonl", "--workers", "1"),
    ("pack", "pages", "--out", "docs"),
)


def _laid_out(folder: Path) -> None:
    (folder / "case.yaml").write_text("case: a\ndate: 2026-11-20\n# " + "x" * 3000 + "\n", "utf-8")
    (folder / "c.jsonl").write_text(json.dumps(SMALL) + "\n")


def _refused(words: tuple[str, ...], folder: Path, reason: str, **more: object) -> None:
    before = (folder / "case.yaml").read_bytes()
    one = start(*words, cwd=folder, stdin=subprocess.PIPE, **more)
    out, err = one.communicate("1\n1\n1\n" if words[0] == "intake" else "", timeout=120)
    assert one.returncode == 2, (out, err)
    assert "KN503" in err
    assert reason in " ".join(err.split())
    assert "Traceback" not in err
    assert (folder / "case.yaml").read_bytes() == before
    assert not list(folder.rglob("*.part"))


@pytest.mark.parametrize("words", WRITES, ids=lambda words: words[0])
def test_a_full_disk_costs_no_file_that_was_there(small_disk: Path, words: tuple[str, ...]) -> None:
    _laid_out(small_disk)
    with (small_disk / "filler").open("wb", buffering=0) as filler:
        try:
            while True:
                filler.write(b"x" * 4096)
        except OSError:
            pass
    _refused(words, small_disk, "no space left on device")


@pytest.mark.parametrize("words", WRITES, ids=lambda words: words[0])
def test_a_folder_that_may_only_be_read_says_so(small_disk: Path, words: tuple[str, ...]) -> None:
    _laid_out(small_disk)
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    _refused(words, small_disk, "read-only file system")


@pytest.mark.parametrize(
    "words", [w for w in WRITES if w[0] in ("record", "plan", "handover")], ids=lambda words: words[0]
)
def test_a_limit_on_the_size_of_files_costs_no_file(tmp_path: Path, words: tuple[str, ...]) -> None:
    _laid_out(tmp_path)

    def little() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (2048, 2048))

    _refused(words, tmp_path, "file too large", preexec_fn=little)


def test_an_answer_that_finds_no_room_is_no_success(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    _laid_out(tmp_path)
    for words in (["plan", "case.yaml"], ["--version"], ["record", "case.yaml", "--event", "ev_seat_out"]):
        with Path("/dev/full").open("w") as full:
            ran = subprocess.run(
                [KNOCKON, *words], cwd=tmp_path, stdout=full, stderr=subprocess.PIPE, text=True
            )
        assert (ran.returncode, "KN503" in ran.stderr) == (2, True)
    assert len(log_of(tmp_path / "case.yaml")) == 1
