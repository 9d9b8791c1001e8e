"""One folder per mistake: the whole of stderr is compared, stdout is empty, and the command exits with 2.

A folder holds `case.yaml` or pack folders (or both), and `expected.err`; `command.txt` gives other arguments.
What cannot be kept as text is made by MADE. After a change: `pytest tests/golden --update-golden`, and read
the diff.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from command import Run, installed

BAD = Path(__file__).parent / "bad"
MISTAKES = sorted(p.name for p in BAD.iterdir() if p.is_dir())
BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{b}: &{b} [{', '.join([f'*{a}'] * 9)}]\n" for a, b in zip("abcdefgh", "bcdefghi", strict=True)
)


def _linked(folder: Path) -> None:
    (folder / "pack" / "linked.yaml").symlink_to(folder / "other.yaml")


MADE: dict[str, Callable[[Path], object]] = {
    "too-large": lambda folder: (folder / "case.yaml").write_bytes(b"# " + b"x" * 50_000_000),
    "binary": lambda folder: (folder / "case.yaml").write_bytes(
        b"case: lr\n\x89PNG\r\n\x1a\n\x00\x00\xff\xfe"
    ),
    "utf-16": lambda folder: (folder / "case.yaml").write_bytes("case: lr-2001\n".encode("utf-16")),
    "deep-flow": lambda folder: (folder / "case.yaml").write_text("case: " + "[" * 5000 + "]" * 5000),
    "deep-nesting": lambda folder: (folder / "case.yaml").write_text(
        "".join(f"{' ' * n}a:\n" for n in range(60))
    ),
    "alias-bomb": lambda folder: (folder / "case.yaml").write_text(BOMB),
    "outside-the-pack": _linked,
}


def _laid_out(name: str, tmp_path: Path) -> tuple[Path, list[str]]:
    """A copy of the folder, and the arguments of its command."""
    folder = tmp_path / name
    shutil.copytree(BAD / name, folder)
    if not list(folder.glob("case.yaml")):
        shutil.copy(BAD / "good_case.yaml", folder / "case.yaml")
    MADE.get(name, lambda _: None)(folder)
    if (folder / "command.txt").exists():
        return folder, (folder / "command.txt").read_text().split()
    packs = sorted(p.name for p in folder.iterdir() if p.is_dir())
    return folder, ["plan", "case.yaml", *(word for p in packs for word in ("--pack", p))]


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_is_answered_with_its_place_its_cause_and_a_next_step(
    name: str, tmp_path: Path, run_knockon: Run, update_golden: bool
) -> None:
    folder, arguments = _laid_out(name, tmp_path)
    ran = run_knockon(*arguments, cwd=folder)
    expected = BAD / name / "expected.err"
    if update_golden:
        expected.write_text(ran.err)
    assert (ran.code, ran.out) == (2, "")
    assert str(tmp_path) not in ran.err
    assert ran.err == expected.read_text()


@pytest.mark.parametrize("name", ["many-problems-at-once", "pack-problems-in-two-files", "binary"])
def test_the_installed_command_says_the_same(name: str, tmp_path: Path) -> None:
    folder, arguments = _laid_out(name, tmp_path)
    ran = installed(*arguments, cwd=folder)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err == (BAD / name / "expected.err").read_text()
