"""A real cluster of several worker processes, one of them killed while it works; and results as a table."""

from __future__ import annotations

import json
import os
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from knockon.engine.diagnostics.message import InputError
from knockon.engine.review.batch import Job, Result, Work, run_cases
from knockon.engine.review.cases import Item
from knockon.engine.review.fleet import Fleet
from knockon.engine.review.parquet import write_parquet

CASES = 300


def slow_squares(folder: str) -> Work:
    """Squares, each leaving a mark, so that a test can see who worked on what and when."""

    def work(item: Item) -> dict[str, Any]:
        if item.line == b"die":
            os.kill(os.getpid(), signal.SIGKILL)
        with (Path(folder) / "by").open("a") as marks:
            marks.write(f"{os.getpid()}\n")
        return {"square": item.number**2}

    return work


def items(*special: int) -> Iterator[Item]:
    return (Item(n, f"c:{n + 1}", b"die" if n in special else b"ok") for n in range(CASES))


@pytest.fixture
def cluster() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed", reason="the extra `fleet` is not installed")
    made = distributed.LocalCluster(
        3, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    )
    yield made
    made.close()


def over(cluster: Any, job: Job, *special: int) -> Iterator[Result]:
    return run_cases(items(*special), job, workers=3, chunk=5, pool=lambda: Fleet(cluster.scheduler_address))


@pytest.mark.slow
def test_a_worker_killed_in_the_middle_costs_and_doubles_nothing(cluster: Any, tmp_path: Path) -> None:
    job = Job(slow_squares, (str(tmp_path),))
    here = list(run_cases(items(), job, workers=1))
    (tmp_path / "by").unlink()
    found, killed = [], 0
    for result in over(cluster, job):
        found.append(result)
        if len(found) == 40:
            killed = int((tmp_path / "by").read_text().splitlines()[-1])
            os.kill(killed, signal.SIGKILL)
    assert killed
    assert found == here
    assert len(set((tmp_path / "by").read_text().split())) >= 3


@pytest.mark.slow
def test_a_case_that_kills_every_worker_is_named(cluster: Any, tmp_path: Path) -> None:
    found = list(over(cluster, Job(slow_squares, (str(tmp_path),)), 17))
    assert [r.number for r in found] == list(range(CASES))
    assert [(r.number, r.state) for r in found if r.state != "ok"] == [(17, "died")]


def test_no_cluster_is_said_to_be_missing() -> None:
    pytest.importorskip("distributed", reason="the extra `fleet` is not installed")
    with pytest.raises(InputError, match="no cluster answers"):
        Fleet("nonsense://nowhere")


def test_results_become_a_table(tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="the extra `parquet` is not installed")
    short = {
        "case": "a",
        "date": "2026-01-01",
        "severity": 2,
        "lines": {"look.left": ["required", "firm", "open"]},
    }
    line = {
        "id": "aim",
        "strength": "check_whether",
        "standing": "provisional",
        "progress": "held",
        "more": 1,
    }
    whole = {"case": "b", "plan": {"date": "2026-01-02", "severity": {"level": 1}, "lines": [line]}}
    bad = {"number": 2, "state": "input", "why": "no case"}
    results = tmp_path / "r.jsonl"
    results.write_text("".join(json.dumps(entry) + "\n" for entry in (short, whole, bad)))
    assert write_parquet(results, tmp_path / "r.parquet") == 2
    assert parquet.read_table(tmp_path / "r.parquet").to_pylist() == [
        dict(case="a", date="2026-01-01", severity=2, line="look.left", strength="required", standing="firm", progress="open"),
        dict(case="b", date="2026-01-02", severity=1, line="aim", strength="check_whether", standing="provisional", progress="held"),
    ]  # fmt: skip
    with pytest.raises(InputError, match="cannot write"):
        write_parquet(results, tmp_path / "none" / "r.parquet")
