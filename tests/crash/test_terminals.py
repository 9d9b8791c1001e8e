"""In a real terminal: intake killed at any moment loses no answer, and Ctrl-C leaves the terminal as it was."""

from __future__ import annotations

import json
import random
import termios
import time
from pathlib import Path

import pytest
from command import TOP
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.tree import parse_tree
from terminal import Terminal

pytestmark = pytest.mark.slow
EMPTY = "case: a\ndate: 2026-11-20\n"
INTAKE = ("intake", "case.yaml", "--check-only", "--stage", "estimator")
KILLS = 7


def answered(asked: str) -> str:
    """What is typed at a question: the first choice; not known, where that is refused or a figure is asked for."""
    return "\n" if any(word in asked for word in ("a number", "a date", "error: ")) else "1\n"


def goes_on(folder: Path, most: int = 200) -> Terminal:
    """Intake with so many questions answered, or all; the terminal is the caller's to close."""
    terminal = Terminal(*INTAKE, cwd=folder)
    for _ in range(most):
        asked = terminal.until(r"> \Z")
        if not asked.endswith("> "):
            return terminal
        terminal.type(answered(asked))
    return terminal


def facts(folder: Path) -> dict[str, str]:
    """What the file of the case says, place by place."""
    tree = parse_tree((folder / "case.yaml").read_text("utf-8"), "case.yaml", Messages())
    assert tree is not None
    return {
        f"{section}.{name}": str(value)
        for section, inside in tree.value.items() if isinstance(inside, dict)
        for name, value in inside.items()
    }  # fmt: skip


def test_intake_killed_in_a_terminal_loses_no_answer_and_goes_on(tmp_path: Path) -> None:
    whole, part = tmp_path / "whole", tmp_path / "part"
    for folder in (whole, part):
        folder.mkdir()
        (folder / "case.yaml").write_text(EMPTY, "utf-8")
    with goes_on(whole) as terminal:
        assert terminal.ended() in (0, 1)
    moment, grown = random.Random(6), 0
    for _ in range(KILLS):
        before = facts(part)
        with goes_on(part, moment.randrange(4)) as terminal:
            time.sleep(moment.choice((0.002, 0.01, 0.05, 0.2)) * moment.random() * 4)
            shown_saved = terminal.shown.count("= saved")
            terminal.kill()
        after = facts(part)
        assert before.items() <= after.items()
        assert len(after) >= len(before) + shown_saved
        grown += shown_saved
    assert grown
    with goes_on(part) as terminal:
        assert terminal.ended() in (0, 1)
    assert (part / "case.yaml").read_text("utf-8") == (whole / "case.yaml").read_text("utf-8")
    assert [p.name for p in part.iterdir()] == ["case.yaml"]


@pytest.mark.parametrize(
    ("words", "ready"),
    [
        (("intake", "empty.yaml"), r"> \Z"),
        (("intake", "new.yaml"), r"> \Z"),
        (("record", "case.yaml"), r"\[done\]"),
        (("batch", "c.jsonl", "--out", "r.jsonl", "--workers", "1"), "50 cases done"),
    ],
    ids=["intake", "intake of a new case", "record", "batch"],
)
def test_the_terminal_is_as_it_was_after_ctrl_c(tmp_path: Path, words: tuple[str, ...], ready: str) -> None:
    (tmp_path / "case.yaml").write_text((TOP / "examples/front-corner/case.yaml").read_text("utf-8"), "utf-8")
    (tmp_path / "empty.yaml").write_text(EMPTY, "utf-8")
    (tmp_path / "c.jsonl").write_text(
        "".join(json.dumps({"case": f"c{n}", "date": "2026-02-01"}) + "\n" for n in range(5000))
    )
    with Terminal(*words, cwd=tmp_path) as terminal:
        terminal.until(ready)
        terminal.type("half a word\x03")
        assert terminal.ended() == 130, terminal.shown
        assert terminal.modes() == terminal.before
        assert terminal.modes()[3] & (termios.ECHO | termios.ICANON | termios.ISIG)
        assert terminal.shown.endswith("\n")
        assert "Traceback" not in terminal.shown
        assert terminal.shown.count("\x1b[1m") == terminal.shown.count("\x1b[0m")  # no emphasis left on
        assert "\x1b[?" not in terminal.shown  # nothing that hides a cursor or changes the screen
