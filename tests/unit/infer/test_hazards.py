"""The known hazards of the rules library, each put to our driver in a process of its own."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest
from knockon.engine.infer.rules_engine import core

SCRIPT = Path(__file__).with_name("hazards.py")
HAZARDS = [
    node.name
    for node in ast.parse(SCRIPT.read_text(encoding="utf-8")).body
    if isinstance(node, ast.FunctionDef) and not node.args.args
]
NOT_HAZARDS = {"rss"}


@pytest.mark.skipif(core() is None, reason="the rules library cannot be imported here")
@pytest.mark.parametrize("hazard", [h for h in HAZARDS if h not in NOT_HAZARDS])
def test_hazard(hazard: str) -> None:
    ran = subprocess.run([sys.executable, str(SCRIPT), hazard], capture_output=True, text=True, timeout=120)
    assert ran.returncode == 0, ran.stderr[-2000:]


def test_no_hazard_was_lost() -> None:
    assert len(HAZARDS) >= 20
