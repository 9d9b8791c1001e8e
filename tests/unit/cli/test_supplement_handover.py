"""`knockon supplement` and `knockon handover`: every format, and writing to a file."""

from __future__ import annotations

from pathlib import Path

import pytest
from command import Run

CASE = "examples/first-notice-to-delivery/case.yaml"
STARTS = {"json": "{", "html": "<!doctype html>", "csv": "case,"}


@pytest.mark.parametrize("format", ["text", "json", "html", "markdown", "csv"])
@pytest.mark.parametrize("command", ["supplement", "handover"])
def test_each_page_can_be_written_in_each_format(
    run_knockon: Run, tmp_path: Path, command: str, format: str
) -> None:
    start = {**STARTS, "text": command.upper(), "markdown": f"# {command.capitalize()}"}[format]
    since = ["--since", "2026-03-05"] if command == "supplement" else []
    shown = run_knockon(command, CASE, *since, "--format", format)
    assert (shown.code, shown.err) == (0, "")
    assert shown.out.startswith(start)
    written = run_knockon(command, CASE, *since, "--format", format, "--out", str(tmp_path / "page"))
    assert (written.code, written.out) == (0, "")
    assert (tmp_path / "page").read_bytes().decode() == shown.out
