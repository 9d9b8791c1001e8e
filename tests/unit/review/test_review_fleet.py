"""A real cluster of several worker processes, one of them killed while it works; and results as a table."""

from __future__ import annotations

import json
import os
import signal
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from knockon.engine.diagnostics.message import InputError
from knockon.engine.review.batch import Job, Work, run_cases
from knockon.engine.review.cases import Item
from knockon.engine.review.fleet import Fleet
from knockon.engine.review.parquet import write_parquet

CASES = 300


def slow_squares(folder: str) -> Work:
    """Squares, each leaving a mark, so that a test can see who worked."""

    def work(item: Item) -> dict[str, Any]:
        time.sleep(0.005)
        with (Path(folder) / "by").open("a") as marks:
            marks.write(f"{os.getpid()}\n")
        return {"square": item.number**2}

    return work


def items() -> Iterator[Item]:
    return (Item(n, f"c:{n + 1}", b"ok") for n in range(CASES))


@pytest.fixture
def cluster() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed", reason="the extra `fleet` is not installed")
    made = distributed.LocalCluster(
        3, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    )
    yield made
    made.close()


@pytest.mark.slow
def test_a_worker_killed_in_the_middle_costs_and_doubles_nothing(cluster: Any, tmp_path: Path) -> None:
    job = Job(slow_squares, (str(tmp_path),))
    here = list(run_cases(items(), job, workers=1))
    (tmp_path / "by").unlink()
    found, killed = [], 0
    pool = partial(Fleet, cluster.scheduler_address)
    for result in run_cases(items(), job, workers=3, chunk=5, pool=pool):
        found.append(result)
        if len(found) == 40:
            killed = int((tmp_path / "by").read_text().splitlines()[-1])
            os.kill(killed, signal.SIGKILL)
    assert killed
    assert found == here
    assert len(set((tmp_path / "by").read_text().split())) >= 2


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
    rows = [tuple(row.values()) for row in parquet.read_table(tmp_path / "r.parquet").to_pylist()]
    assert rows == [
        ("a", "2026-01-01", 2, "look.left", "required", "firm", "open"),
        ("b", "2026-01-02", 1, "aim", "check_whether", "provisional", "held"),
    ]
    with pytest.raises(InputError, match="cannot write"):
        write_parquet(results, tmp_path / "none" / "r.parquet")
