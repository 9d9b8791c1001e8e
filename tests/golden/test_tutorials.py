"""Every command of the tutorials and of the README's walk runs as printed, in order, with the exit code it states."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from knockon.engine.load.cache import built_in_folders
from knockon.engine.review.check import check

ROOT = Path(__file__).resolve().parents[2]
PAGES = ["docs/estimator.md", "docs/blueprinter.md", "docs/technician.md", "docs/qa-lead.md"]
DEAR = ("knockon pack try", "knockon pack effect")  # run over hundreds of scenarios: only in the long form


def commands(page: str) -> list[tuple[str, int]]:
    """The shell lines of a page and the exit code each states."""
    text = (ROOT / page).read_text("utf-8")
    lines = [
        line
        for block in re.findall(r"^```sh\n(.*?)^```", text, flags=re.S | re.M)
        for line in block.splitlines()
    ]
    found = []
    for line in lines:
        if line.strip() and not line.startswith("#"):
            stated = re.search(r"\s+# exits (\d+)$", line)
            found.append((re.sub(r"\s+# exits \d+$", "", line), int(stated[1]) if stated else 0))
    return found


@pytest.mark.slow
@pytest.mark.parametrize(
    ("page", "whole"),
    [*((page, page != PAGES[-1]) for page in PAGES), pytest.param(PAGES[-1], True, marks=pytest.mark.long)],
)
def test_commands_run_as_printed(page: str, whole: bool, tmp_path: Path) -> None:
    for name in ("examples", "rules"):
        shutil.copytree(ROOT / name, tmp_path / name)
    bin_folder = str(Path(sys.executable).parent)
    env = {**os.environ, "PATH": f"{bin_folder}:{os.environ['PATH']}", "COLUMNS": "80"}
    found = [(c, stated) for c, stated in commands(page) if whole or not c.startswith(DEAR)]
    assert len(found) >= 4
    assert whole == (found == commands(page))
    for command, stated in found:
        done = subprocess.run(
            ["bash", "-c", command],
            cwd=tmp_path,
            env=env,
            capture_output=True,
            text=True,
            check=False,
            timeout=300,
        )
        assert done.returncode == stated, f"{command}\n{done.stdout[-800:]}\n{done.stderr[-2000:]}"
        assert "Traceback" not in done.stderr


def test_the_rules_shown_on_the_page_stand_in_a_pack_without_a_finding(tmp_path: Path) -> None:
    """In place of the rules of the page's own pack; what they plan fires nothing else."""
    shown = re.search(r"^```yaml\n(.*?)^```", (ROOT / "docs/qa-lead.md").read_text("utf-8"), re.S | re.M)
    assert shown
    shutil.copy(ROOT / "examples/packs/holm-2026/pack.yaml", tmp_path)
    (tmp_path / "rules.yaml").write_text(shown[1], "utf-8")
    review = check([built_in_folders()[0], tmp_path])
    assert [m.text for m in review.findings] == []
