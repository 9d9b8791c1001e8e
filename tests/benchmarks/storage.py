"""What reading stored cases costs beside planning them, and what a question to stored results costs with and without SQLite.

    python tests/benchmarks/storage.py [--cases 10000] [--planned 300] [--seed 1]

All cases are read from both stores; `--planned` of them are planned, and their results stand in turn for the rest.
Times are processor time of this process.
"""

from __future__ import annotations

import argparse
import json
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from itertools import cycle, islice
from pathlib import Path
from typing import Any

import yaml
from cases import generate
from knockon.cli.batch import _run_id, plan_work
from knockon.engine.load.pack import built_in_folders, load_program
from knockon.engine.review.batch import OK, Result
from knockon.engine.review.cases import body_of_cases, case_of, read_item
from knockon.engine.review.parquet import write_parquet
from knockon.engine.review.results import ResultsFile
from pyarrow.parquet import read_table

LINE, RULE = "frame_measure", "R041"
Row = dict[str, Any]


def show(name: str, what: Callable[[], object], count: int) -> None:
    """One row: processor time in all, and for a case."""
    begun = time.process_time()
    what()
    taken = time.process_time() - begun
    sys.stdout.write(f"{name:58}{taken:9.2f} s{1e6 * taken / count:10.1f} us a case\n")


def store(documents: Iterable[Row], work: Path) -> None:
    """The same cases as a folder of YAML and as JSON Lines."""
    (work / "cases").mkdir()
    with (work / "cases.jsonl").open("w", encoding="utf-8") as lines:
        for document in documents:
            text = json.dumps(document)
            lines.write(text + "\n")
            file = work / "cases" / f"{document['case']}.yaml"
            file.write_text(yaml.safe_dump(json.loads(text), sort_keys=False), "utf-8")


def results(work: Path, planned: int, count: int) -> Path:
    """Results of `count` cases as `knockon batch` writes them; the planning is timed."""
    program = load_program(built_in_folders())
    plan = plan_work(tuple(map(str, built_in_folders())), _run_id(program, False), False)
    items = list(islice(body_of_cases(work / "cases.jsonl"), planned))
    plan(items[0])
    trees = [read_item(item) for item in items]
    show("fit to the packs, in the row below too", lambda: [case_of(t, program) for t in trees], planned)
    found: list[Row] = []
    show("the work of batch: read (JSON), fit, plan", lambda: found.extend(map(plan, items)), planned)
    with ResultsFile(work / "results.jsonl", "bench", False) as file:
        for number, value in enumerate(islice(cycle(found), count)):
            file.write(
                Result(number, f"cases.jsonl:{number + 1}", OK, {**value, "case": f"bench-{number:07d}"})
            )
    return work / "results.jsonl"


def scan(file: Path, wanted: Callable[[Row], bool]) -> int:
    """How many results are wanted."""
    with file.open("rb") as lines:
        return sum(wanted(json.loads(line)) for line in lines)


def _pairs(file: Path) -> Iterator[tuple[str, str]]:
    with file.open("rb") as lines:
        for line in lines:
            row = json.loads(line)
            yield from ((row["case"], name) for name in (*row["lines"], *row["rules"]))


def index(file: Path, database: sqlite3.Connection) -> None:
    """Which case got which line and rule, with an index on the latter."""
    with database:
        database.execute("create table got (record text, name text)")
        database.executemany("insert into got values (?, ?)", _pairs(file))
        database.execute("create index by_name on got (name)")


def read(work: Path, count: int) -> None:
    """Both stores, as batch reads them."""
    for kind, name in (("YAML files", "cases"), ("JSON Lines", "cases.jsonl")):
        items = list(body_of_cases(work / name))
        show(f"read and validate, {kind}", lambda items=items: [read_item(i) for i in items], count)  # type: ignore[misc]


def ask(file: Path, count: int) -> None:
    """Which cases got a line, which a rule: from the results, from their Parquet table, from an index."""
    sys.stdout.write(f"results: {file.stat().st_size / count:.0f} bytes a case\n")
    show(f"scan for line {LINE}", lambda: scan(file, lambda row: LINE in row["lines"]), count)
    show(f"scan for rule {RULE}", lambda: scan(file, lambda row: RULE in row["rules"]), count)
    table, chosen = file.with_name("lines.parquet"), [("line", "=", LINE)]
    show("Parquet: write the lines", lambda: write_parquet(file, table), count)
    read_table(table, columns=["case"], filters=chosen)  # the first time also imports the reader
    show(f"Parquet: ask for line {LINE}", lambda: read_table(table, columns=["case"], filters=chosen), count)
    named = file.with_name("index.sqlite")
    database = sqlite3.connect(named)
    show("SQLite: build the index", lambda: index(file, database), count)
    asked = f"select count(*) from got where name = '{LINE}'"
    show("SQLite: ask it", lambda: database.execute(asked).fetchall(), count)
    sys.stdout.write(f"SQLite: {named.stat().st_size / count:.0f} bytes a case beside the results\n")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--planned", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        store(generate(load_program(built_in_folders()), told.cases, told.seed), work)
        read(work, told.cases)
        ask(results(work, told.planned, told.cases), told.cases)


if __name__ == "__main__":
    main()
