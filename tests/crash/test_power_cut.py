"""What a power cut can leave of results: half a line, or zeros where a file system had room but no data yet."""

from __future__ import annotations

import json
from collections.abc import Generator, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import pytest
from command import Run
from knockon.cli import stack
from knockon.engine.review.batch import Job, Result, run_cases
from knockon.engine.review.cases import Item

CASES, KEPT = 12, 7
TAILS = {
    "half a line and zeros": lambda line: line[: len(line) // 2] + b"\0" * 700,
    "zeros, then a line": lambda line: b"\0" * 700 + line[-20:] + line,
}


def _bodies(folder: Path) -> None:
    case = {"date": "2026-02-01", "intake": {"event_type": "collision", "area": ["front"]}}
    lines = [json.dumps({**case, "case": f"c{n}"}) for n in range(CASES - 1)]
    (folder / "c.jsonl").write_text("\n".join([*lines[:4], '{"case": "bad"}', *lines[4:]]) + "\n")


@pytest.fixture
def no_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    """The cases are planned in this process: starting workers is tested elsewhere and takes most of the time."""

    def here(items: Iterable[Item], job: Job, *_: object) -> Generator[Result, None, None]:
        yield from run_cases(items, job, pool=partial(ThreadPoolExecutor, 1))

    monkeypatch.setattr(stack, "run_everywhere", here)


@pytest.mark.usefixtures("no_processes")
@pytest.mark.parametrize(
    "words",
    [
        ("batch", "c.jsonl", "--parquet", "r.parquet", "--out", "r.jsonl"),
        ("pack", "effect", "none", "us_federal", "--under", "base", "--cases", "c.jsonl", "--out", "r.jsonl"),
    ],
    ids=["batch", "effect"],
)
def test_a_run_goes_on_from_what_a_power_cut_left(
    tmp_path: Path, run_knockon: Run, words: tuple[str, ...]
) -> None:
    _bodies(tmp_path)
    out, table = tmp_path / "r.jsonl", tmp_path / "r.parquet"
    first = run_knockon(*words, cwd=tmp_path)
    assert first.code == 1, first.err
    whole = out.read_bytes()
    rows = table.read_bytes() if table.exists() else b""
    lines = whole.splitlines(keepends=True)
    assert [json.loads(line)["number"] for line in lines] == list(range(CASES))
    for name, torn in TAILS.items():
        out.write_bytes(b"".join(lines[:KEPT]) + torn(lines[KEPT]))
        table.unlink(missing_ok=True)
        again = run_knockon(*words, "--resume", cwd=tmp_path)
        assert (again.code, out.read_bytes() == whole) == (1, True), (name, again.err)
        assert (table.read_bytes() if rows else b"") == rows, name
        if words[0] == "batch":
            assert f"{CASES} cases ({KEPT} were done before): 1 could not be planned" in again.out
        else:
            assert again.out == first.out
