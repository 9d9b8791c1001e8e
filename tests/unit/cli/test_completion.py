"""What the shell offers after TAB."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
KNOCKON = Path(sys.executable).with_name("knockon")


def offered(line: str) -> list[str]:
    env = {**os.environ, "COMP_WORDS": line, "COMP_CWORD": str(len(line.split()) - 1)}
    env["_KNOCKON_COMPLETE"] = "complete_bash"
    done = subprocess.run(
        [KNOCKON], cwd=ROOT, env=env, capture_output=True, text=True, check=False, timeout=60
    )
    assert "Traceback" not in done.stderr
    return done.stdout.split()


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("knockon supp", "supplement"),
        ("knockon why examples/front-corner/case.yaml radar_front_a", "radar_front_aim"),
        ("knockon why-not examples/front-corner/case.yaml ocs_z", "ocs_zero"),
        ("knockon record examples/front-corner/case.yaml --did scan_p", "scan_post"),
        ("knockon pack check us", "us_federal"),
        ("knockon pack check examples/packs/orsa", "examples/packs/orsava-2023"),
    ],
)
def test_the_word_is_offered(line: str, word: str) -> None:
    assert word in offered(line)


def test_a_case_that_is_not_there_offers_nothing() -> None:
    assert offered("knockon why nowhere.yaml ocs") == []
