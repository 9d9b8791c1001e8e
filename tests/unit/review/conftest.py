"""The tiny pack on disk and linked, with whatever a test changes in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from knockon.engine.load.pack import load_program
from knockon.engine.model.program import Program
from tiny_pack import RULES, WORDS, write_pack

Pack = Callable[..., Path]


@pytest.fixture
def pack(tmp_path: Path) -> Pack:
    """Writes the pack with some rules changed (None takes one out) and returns its folder."""

    def write(name: str = "tiny", words: str = WORDS, scenarios: str = "", **changed: str | None) -> Path:
        rules = {id_: text for id_, text in ({**RULES, **changed}).items() if text is not None}
        return write_pack(tmp_path / name, rules, words, scenarios)

    return write


@pytest.fixture
def tiny(pack: Pack) -> Callable[..., Program]:
    """The linked program of such a pack."""

    def load(name: str = "tiny", words: str = WORDS, scenarios: str = "", **changed: str | None) -> Program:
        return load_program([pack(name, words, scenarios, **changed)])

    return load
