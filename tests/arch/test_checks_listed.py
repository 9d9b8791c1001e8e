"""The table of outside checks names every test file of `tests/outside`, and no file that is not there."""

from __future__ import annotations

import re
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
TABLE = [line for line in (TOP / "docs/checks.md").read_text("utf-8").splitlines() if line.startswith("| ")]
BASES = ("read", "memory", "computed", "common practice")


def test_every_outside_check_has_its_row_and_every_row_its_test() -> None:
    named = {name for row in TABLE for name in re.findall(r"`([\w/.*]+\.(?:py|yaml))`", row)}
    files = {TOP / n if "/" in n else TOP / "tests/outside" / n for n in named if "*" not in n}
    assert [str(f) for f in sorted(files) if not f.is_file()] == []
    assert {f.name for f in (TOP / "tests/outside").glob("test_*.py")} - {f.name for f in files} == set()


def test_every_row_says_what_it_rests_on() -> None:
    for row in TABLE[1:]:
        cells = row.strip("|").split(" | ")
        assert len(cells) == 4, row
        assert all(
            part.strip().startswith(BASES) for part in re.sub(r"\([^)]*\)", "", cells[3]).split(",")
        ), row
