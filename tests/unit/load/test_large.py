"""Files made to cost time or memory: each is answered soon, whatever is in it. All were too slow once."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from knockon.engine.diagnostics.message import ENOUGH, InputError, Messages
from knockon.engine.load.case import load_case
from knockon.engine.load.tree import parse_tree
from knockon.engine.model.program import Program
from knockon.engine.review.cases import Item, read_item

SECONDS = 30.0  # a slow machine under load; each takes a tenth of it
HEAD = "case: a\ndate: 2026-11-16\n"
TOO_MANY = {
    "keys of a flow mapping": "{" + "a," * 1_900_000 + "}",
    "items of a flow list": "a: [" + "a," * 1_900_000 + "]",
    "dashes": "-\n" * 1_900_000,
    "the same key again": "a:\n" * 900_000,
    "empty lines": "\n" * 3_900_000,
}
WRONG = {
    "unknown parts": "parts:\n" + "".join(f"- {{part: x{i}}}\n" for i in range(30_000)),
    "parts of another form": "parts:\n" + "- {pert: x}\n" * 30_000,
    "unknown keys": "".join(f"k{i}: 1\n" for i in range(50_000)),
    "unknown systems": "fitted: {yes: [" + ",".join(f"radar_frnt{i}" for i in range(50_000)) + "]}\n",
    "unknown facts": "intake:\n" + "".join(f" k{i}: 1\n" for i in range(50_000)),
    "one key again": "intake: {" + "area: front, " * 50_000 + "}\n",
}


@pytest.mark.parametrize("name", TOO_MANY)
def test_too_many_values_are_told_before_they_are_read(name: str) -> None:
    begun, messages = time.process_time(), Messages()
    assert parse_tree(TOO_MANY[name], "a.yaml", messages) is None
    assert [m.code for m in messages] == ["KN107"]
    assert time.process_time() - begun < SECONDS / 10


@pytest.mark.parametrize("name", WRONG)
def test_thousands_of_mistakes_cost_no_more_than_reading_them(
    tmp_path: Path, program: Program, name: str
) -> None:
    (tmp_path / "case.yaml").write_text(HEAD + WRONG[name])
    begun = time.process_time()
    with pytest.raises(InputError) as error:
        load_case(tmp_path / "case.yaml", program)
    assert len(error.value.messages.errors) >= ENOUGH
    assert time.process_time() - begun < SECONDS


def test_a_key_written_twice_among_very_many_is_found_soon() -> None:
    line = "{" + ",".join(f'"k{i}":1' for i in range(150_000)) + ',"k149999":2}'
    begun = time.process_time()
    for text, said in ((line, "`k149999` is written twice"), ("[" + "1," * 300_000 + "1]", "too long")):
        with pytest.raises(InputError, match=said):
            read_item(Item(0, "c.jsonl:1", text.encode()))
    assert time.process_time() - begun < SECONDS
