"""The known hazards of the rules library, each put to our driver in a process of its own."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest
from knockon.engine.infer.rules_engine import core

HERE = Path(__file__).parent
HAZARDS = [
    (script.name, node.name)
    for script in sorted(HERE.glob("hazards*.py"))
    for node in ast.parse(script.read_text(encoding="utf-8")).body
    if isinstance(node, ast.FunctionDef)
    and ast.unparse(node.returns or node.args) == "None"
    and not node.args.args
]


@pytest.mark.skipif(core() is None, reason="the rules library cannot be imported here")
@pytest.mark.parametrize(("script", "hazard"), HAZARDS, ids=[name for _, name in HAZARDS])
def test_hazard(script: str, hazard: str) -> None:
    command = [sys.executable, str(HERE / script), hazard]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False)
    assert ran.returncode == 0, ran.stderr[-2000:]


def test_no_hazard_was_lost() -> None:
    assert len(HAZARDS) >= 20
