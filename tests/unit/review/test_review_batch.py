"""Many cases: order, constant memory, bad cases, dying workers, interruption, and two writers."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from knockon.engine.diagnostics.message import InferenceFault, InputError, Messages
from knockon.engine.review.batch import Job, Result, Work, run_cases
from knockon.engine.review.cases import Item, body_of_cases, read_item
from knockon.engine.review.results import ResultsFile


def doubling(folder: str) -> Work:
    """Work whose lines say what shall happen; `once` happens only the first time, `folder` remembers."""

    def work(item: Item) -> dict[str, Any]:
        word = (item.line or b"").decode()
        seen = Path(folder) / f"{item.number}.seen"
        if word.startswith("once ") and not seen.exists():
            seen.write_text("")
            word = word.removeprefix("once ")
        _misbehave(word)
        return {"double": item.number * 2, "by": os.getpid()}

    return work


def _misbehave(word: str) -> None:
    if word == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    elif word == "slow":
        time.sleep(0.2)  # long enough that a second worker finds work left, however late it starts
    elif word == "wait":
        time.sleep(60)
    elif word == "spin":
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGALRM})  # as if Python never got a turn
        time.sleep(60)
    elif word == "eat":
        bytearray(8 << 30)
    elif word == "break":
        raise RuntimeError("broken")
    elif word == "disagree":
        raise InferenceFault("the two engines disagree")
    elif word == "misread":
        messages = Messages()
        messages.add("KN201", "no such fact")
        raise InputError(messages)


def items(*words: str) -> Iterator[Item]:
    return (Item(n, f"c:{n + 1}", word.encode()) for n, word in enumerate(words))


def run(
    folder: Path, *words: str, seconds: float = 0, memory: int = 0, workers: int = 2, chunk: int = 2
) -> list[Result]:
    job = Job(doubling, (str(folder),), memory, seconds)
    return list(run_cases(items(*words), job, workers=workers, chunk=chunk))


def test_results_come_in_order_from_any_number_of_workers(tmp_path: Path) -> None:
    one, two = (run(tmp_path, *[w] * 25, workers=n, chunk=1) for n, w in ((1, "ok"), (2, "slow")))
    assert [r.number for r in two] == list(range(25))
    assert [r.value["double"] for r in one] == [r.value["double"] for r in two] == [2 * n for n in range(25)]
    assert len({r.value["by"] for r in two}) == 2


def test_a_bad_case_in_the_middle_is_named_and_the_rest_is_done(tmp_path: Path) -> None:
    found = run(tmp_path, "ok", "misread", "ok", "break", "disagree", "ok")
    assert [r.state for r in found] == ["ok", "input", "ok", "fault", "fault", "ok"]
    assert found[1].value["why"] == "KN201 no such fact"
    assert "RuntimeError: broken" in found[3].value["why"]
    assert found[4].value["why"] == "the two engines disagree"


def test_a_case_that_kills_its_worker_is_tried_alone_and_costs_no_other(tmp_path: Path) -> None:
    found = run(tmp_path, *["ok"] * 5, "die", *["ok"] * 5, "die", "ok")
    assert [r.number for r in found if r.state != "ok"] == [5, 11]
    assert found[5].state == "died"
    assert [r.number for r in found] == list(range(13))


def test_a_worker_killed_from_outside_costs_nothing(tmp_path: Path) -> None:
    found = run(tmp_path, *["ok"] * 4, "once die", *["ok"] * 4)
    assert [r.state for r in found] == ["ok"] * 9


def test_a_case_out_of_time_or_memory_is_tried_once_more_alone(tmp_path: Path) -> None:
    found = run(tmp_path, "ok", "once wait", "wait", "once eat", "eat", "ok", seconds=0.5, memory=2 << 30)
    assert [r.state for r in found] == ["ok", "ok", "time", "ok", "memory", "ok"]


def test_a_case_that_gives_python_no_turn_is_ended_too(tmp_path: Path) -> None:
    found = run(tmp_path, "ok", "spin", "ok", seconds=0.5)
    assert [r.state for r in found] == ["ok", "died", "ok"]


def test_only_a_window_of_cases_is_ever_under_way(tmp_path: Path) -> None:
    taken = 0

    def endless() -> Iterator[Item]:
        nonlocal taken
        while True:
            yield Item(taken, "c", b"ok")
            taken += 1

    stream = run_cases(endless(), Job(doubling, (str(tmp_path),)), workers=2, chunk=4)
    for _ in range(10):
        next(stream)
    stream.close()
    assert taken <= 10 + 2 * 3 * 4 + 4


def result(number: int) -> Result:
    return Result(number, f"c:{number + 1}", "ok", {"double": 2 * number})


def fill(path: Path, count: int, run: str = "r1") -> None:
    with ResultsFile(path, run, resume=path.exists()) as results:
        for n in range(results.done, count):
            results.write(result(n))


def test_an_interrupted_run_goes_on_where_it_stopped(tmp_path: Path) -> None:
    whole, part = tmp_path / "whole.jsonl", tmp_path / "part.jsonl"
    fill(whole, 10)
    text = whole.read_bytes()
    for cut in (0, 1, len(text) // 2, len(text) - 1, len(text)):
        part.write_bytes(text[:cut])
        with ResultsFile(part, "r1", resume=True) as results:
            assert results.done == text[:cut].count(b"\n")
            rest = list(results.rest(items(*["ok"] * 10)))
            for item in rest:
                results.write(result(item.number))
        assert part.read_bytes() == text


TORN = {
    "half a line": b'{"number":10,"at":"c:11","st',
    "half a word": b'{"nu',
    "zeros": b"\0" * 4096,
    "half a line and zeros": b'{"number":10,"at"' + b"\0" * 400,
    "zeros inside a line": b'{"number":10,"at":"c:11"' + b"\0" * 400 + b'"double":20}\n',
    "zeros, then lines": b"\0" * 400
    + b'"double":20}\n{"number":11,"at":"c:12","state":"ok","run":"r1","double":22}\n',
}


@pytest.mark.parametrize("left", TORN.values(), ids=TORN)
def test_what_a_power_cut_tore_is_done_again_and_never_counted(tmp_path: Path, left: bytes) -> None:
    whole, part = tmp_path / "whole.jsonl", tmp_path / "part.jsonl"
    fill(whole, 14)
    part.write_bytes(b"".join(whole.read_bytes().splitlines(keepends=True)[:10]) + left)
    with ResultsFile(part, "r1", resume=True) as results:
        assert (results.done, results.last, len(list(results.earlier()))) == (10, "c:10", 10)
        for item in results.rest(items(*["ok"] * 14)):
            results.write(result(item.number))
    assert part.read_bytes() == whole.read_bytes()


def test_a_file_torn_before_its_first_line_was_whole_is_begun_anew(tmp_path: Path) -> None:
    for left in (b"\0" * 9000, b'{"number":0,"a', b'{"number"' + b"\0" * 90):
        path = tmp_path / "r.jsonl"
        path.write_bytes(left)
        fill(path, 2)
        assert path.read_bytes().count(b"\n") == 2


@pytest.mark.parametrize("foreign", [b"PK\3\4\0\0", b"\0\0asm\1", b"\0" * 20 + b"x\n", b"x" * (1 << 26)])
def test_a_file_with_zeros_that_is_none_of_ours_is_left_alone(tmp_path: Path, foreign: bytes) -> None:
    path = tmp_path / "other"
    path.write_bytes(foreign)
    assert "line 1" in refusal(path)
    assert path.read_bytes() == foreign


class Disk:
    """Stands for clock and disk: a sync takes `slow` seconds; notes how many bytes each found."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, slow: float) -> None:
        self.now, self.slow, self.synced = 100.0, slow, list[int]()
        monkeypatch.setattr("knockon.engine.review.results.time.monotonic", lambda: self.now)
        monkeypatch.setattr("knockon.engine.review.results.os.fsync", self.sync)

    def sync(self, handle: int) -> None:
        self.synced.append(os.fstat(handle).st_size)
        self.now += self.slow


@pytest.mark.parametrize(("slow", "share"), [(0.0, 1), (0.005, 1), (0.5, 50)])
def test_results_are_on_the_disk_within_a_second_and_syncing_costs_little(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, slow: float, share: float
) -> None:
    disk, ends = Disk(monkeypatch, slow), list[int]()
    path = tmp_path / "r.jsonl"
    with ResultsFile(path, "r1", resume=False) as results:
        for n in range(2000):
            disk.now += 0.25
            results.write(result(n))
            ends.append(path.stat().st_size)
    every = int(share / 0.25)
    assert disk.synced[:3] == [ends[3], ends[3 + every], ends[3 + 2 * every]]
    assert disk.synced[-1] == ends[-1]
    assert len(disk.synced) * slow <= 0.015 * (disk.now - 100)


def test_an_interrupted_run_syncs_what_it_has(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    disk, path = Disk(monkeypatch, 0.0), tmp_path / "r.jsonl"
    with suppress(KeyboardInterrupt), ResultsFile(path, "r1", resume=False) as results:
        results.write(result(0))
        raise KeyboardInterrupt
    assert disk.synced == [path.stat().st_size] != [0]
    with ResultsFile(path, "r1", resume=True):
        pass
    assert len(disk.synced) == 1  # nothing was written


def test_results_that_did_not_reach_the_disk_are_no_success(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("knockon.engine.review.results.os.fsync", broken)
    with (
        pytest.raises(InputError, match="input/output error"),
        ResultsFile(tmp_path / "r.jsonl", "r1", resume=False) as results,
    ):
        results.write(result(0))


def refusal(path: Path, run: str = "r1", resume: bool = True, body: int = 10) -> str:
    with pytest.raises(InputError) as error, ResultsFile(path, run, resume) as results:
        list(results.rest(items(*["ok"] * body)))
    return str(error.value)


def test_results_are_never_mixed_or_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "r.jsonl"
    fill(path, 5)
    before = path.read_bytes()
    assert "exists already" in refusal(path, resume=False)
    assert "another run" in refusal(path, run="r2")
    assert "not case 5 here" in refusal(path, body=3)
    with ResultsFile(path, "r1", resume=True):
        assert "another run is writing it" in refusal(path)
    (tmp_path / "other").write_text("not results\n")
    assert "line 1" in refusal(tmp_path / "other")
    assert "no such file" in refusal(tmp_path / "none" / "r.jsonl")
    assert "is a directory" in refusal(tmp_path)
    assert path.read_bytes() == before
    (tmp_path / "other").write_text("no line end")
    assert "line 1" in refusal(tmp_path / "other")
    assert (tmp_path / "other").read_text() == "no line end"


def test_a_full_disk_says_so_and_what_is_written_stays_usable(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    with ResultsFile(tmp_path / "r.jsonl", "r1", resume=False) as results:
        results.file.close()
        results.file = Path("/dev/full").open("r+b", buffering=0)  # noqa: SIM115
        with pytest.raises(InputError, match="no space left"):
            results.write(result(0))


def test_a_body_is_a_folder_or_a_file(tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    for name in ("b.yaml", "a.yml", "sub/c.yaml", "note.txt"):
        (tmp_path / name).write_text("case: x")
    (tmp_path / "out.yaml").symlink_to("/etc/hostname")
    assert [Path(i.at).name for i in body_of_cases(tmp_path)] == ["a.yml", "b.yaml", "c.yaml"]
    lines = tmp_path / "c.jsonl"
    lines.write_bytes(b'{"case": 1}\n\n  \n{"case": 2}')
    assert [(i.number, i.at, i.line) for i in body_of_cases(lines)] == [
        (0, f"{lines}:1", b'{"case": 1}\n'),
        (1, f"{lines}:4", b'{"case": 2}'),
    ]
    with pytest.raises(InputError, match="KN501"):
        body_of_cases(tmp_path / "nothing")


GOOD = b'{"case": "x", "date": "2026-01-01"}'
BAD = [
    (b"rubbish", "not a case"),
    (b'{"case": "x"', "not a case"),
    (b'{"case": "x", "case": "y", "date": "2026-01-01"}', "`case` is written twice"),
    (b'{"case": "x", "date": "2026-01-01", "intake": {"delta_v": NaN}}', "NaN is not a number"),
    (b"[" * 100_000, "nested too deeply"),
    (b'{"case": ' + b"[" * 60 + b"]" * 60 + b"}", "nested too deeply"),
    (b"\xff\xfe", "not a case"),
    (b'{"date": "2026-01-01"}', "KN111"),
    (b'"word"', "KN113"),
]


@pytest.mark.parametrize(("line", "words"), BAD)
def test_a_line_that_is_no_case_says_why_and_where(line: bytes, words: str) -> None:
    with pytest.raises(InputError, match="KN") as error:
        read_item(Item(6, "c.jsonl:7", line))
    assert words in str(error.value)
    assert error.value.messages.errors[0].culprits[0].span[:2] == ("c.jsonl", 7)


def test_a_line_without_end_is_one_bad_case(tmp_path: Path) -> None:
    body = tmp_path / "c.jsonl"
    body.write_bytes(GOOD + b"\n" + b"x" * 9_000_000 + b"\n" + GOOD + b"\n")
    found = list(body_of_cases(body))
    assert [i.at.rpartition(":")[2] for i in found] == ["1", "2", "3"]
    with pytest.raises(InputError, match="too long"):
        read_item(found[1])
    assert read_item(found[2]).value["case"] == "x"


SCRIPT = """
import sys
from pathlib import Path
from test_review_batch import doubling
from knockon.engine.review.batch import Job, run_cases
from knockon.engine.review.cases import body_of_cases
from knockon.engine.review.results import ResultsFile
if __name__ == "__main__":
    body, out, seen = sys.argv[1:]
    with ResultsFile(Path(out), "r1", resume=True) as results:
        job = Job(doubling, (seen,))
        for result in run_cases(results.rest(body_of_cases(Path(body))), job, workers=2, chunk=2):
            results.write(result)
"""


@pytest.mark.slow
def test_a_run_killed_again_and_again_loses_and_doubles_nothing(tmp_path: Path) -> None:
    script, body, out = tmp_path / "go.py", tmp_path / "c.jsonl", tmp_path / "r.jsonl"
    script.write_text(SCRIPT)
    body.write_text("ok\n" * 9000)
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parent)}
    command = [sys.executable, str(script), str(body), str(out), str(tmp_path)]
    kills, moment = 0, random.Random(5)
    while kills < 5:
        process = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)
        before = out.stat().st_size if out.exists() else 0
        while kills % 3 and process.poll() is None and (not out.exists() or out.stat().st_size <= before):
            time.sleep(0.005)  # at least a line further; one kill in three at any moment of the start
        time.sleep(moment.uniform(0, 0.1 if kills % 3 else 0.5))
        process.kill()
        if process.wait() == 0:
            break
        kills += 1
    process = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)
    assert process.wait(120) == 0
    numbers = [json.loads(line)["number"] for line in out.read_text().splitlines()]
    assert kills > 2
    assert numbers == list(range(9000))
