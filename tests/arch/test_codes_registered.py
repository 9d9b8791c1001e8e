"""Every message code in the source is registered, every registered code is used, and each says what to do."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from knockon.engine.diagnostics.codes import AREAS, CODES

ROOT = Path(__file__).parents[2]
REGISTER = {"codes.py", "input_codes.py"}


def used() -> dict[str, str]:
    """Each code in the source, with a file that uses it."""
    found: dict[str, str] = {}
    for file in (p for room in ("engine", "cli") for p in sorted((ROOT / room).rglob("*.py"))):
        if file.name not in REGISTER:
            codes = re.findall(r"\bKN\d{3}\b", file.read_text("utf-8"))
            found.update(dict.fromkeys(codes, str(file.relative_to(ROOT))))
    return found


def test_every_code_in_the_source_is_registered() -> None:
    assert {code: file for code, file in used().items() if code not in CODES} == {}


def test_every_registered_code_is_used() -> None:
    assert sorted(set(CODES) - set(used())) == []


def test_codes_are_in_order_and_in_a_known_area() -> None:
    assert list(CODES) == sorted(CODES)
    assert {code[:3] for code in CODES} == set(AREAS)


@pytest.mark.parametrize("code", CODES)
def test_each_says_what_it_means_and_what_to_do(code: str) -> None:
    known = CODES[code]
    assert known.title[0].islower() or known.title.startswith(("`", "UTF", "YAML"))
    assert known.means.endswith(".")
    assert known.to_do.endswith(".")
    assert known.means != known.to_do
