"""The lines of a results file as a Parquet table, for whoever analyses millions of plans."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from ..diagnostics.message import InputError, Messages

COLUMNS = ("case", "date", "severity", "line", "strength", "standing", "progress")
ROWS_AT_ONCE = 50_000


def write_parquet(results: Path, out: Path) -> int:
    """One row for each line of each plan; how many. InputError when it cannot be written."""
    messages = Messages()
    try:
        import pyarrow as arrow
        from pyarrow import parquet
    except ImportError:
        step = 'install the extra: `python -m pip install ".[parquet]"` in the folder of the project'
        messages.add("KN504", "writing Parquet needs pyarrow, which is not installed", next_step=step)
        raise InputError(messages) from None
    texts = [(name, arrow.int8() if name == "severity" else arrow.string()) for name in COLUMNS]
    rows, count = _rows(results), 0
    try:
        with parquet.ParquetWriter(out, arrow.schema(texts)) as writer:
            while chunk := list(islice(rows, ROWS_AT_ONCE)):
                columns = dict(zip(COLUMNS, zip(*chunk, strict=True), strict=True))
                writer.write_table(arrow.table(columns, schema=arrow.schema(texts)))
                count += len(chunk)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        messages.add("KN503", f"cannot write `{out}`: {reason}", next_step="check the folder and its space")
        raise InputError(messages) from error
    return count


def _rows(results: Path) -> Iterator[tuple[Any, ...]]:
    with results.open("rb") as file:
        for line in file:
            entry = json.loads(line)
            plan = entry.get("plan", entry)
            about = (entry.get("case"), plan.get("date"), _level(plan.get("severity", 0)))
            for id_, *states in _lines(plan.get("lines", {})):
                yield (*about, id_, *states)


def _level(severity: Any) -> int:
    return int(severity["level"] if isinstance(severity, dict) else severity)


def _lines(lines: Any) -> Iterator[tuple[str, ...]]:
    """The lines in short, or those of a whole plan."""
    if isinstance(lines, dict):
        yield from ((id_, *states) for id_, states in lines.items())
    else:
        yield from ((line["id"], line["strength"], line["standing"], line["progress"]) for line in lines)
