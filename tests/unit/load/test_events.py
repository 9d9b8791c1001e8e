"""The quick reader of YAML reads what the careful one reads, or leaves the file to it."""

from __future__ import annotations

import random
from typing import Any

import pytest
import yaml
from command import TOP
from fuzzed import examples
from hostile import CASES, PACK_FILES, spoilt
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load import events, nodes

REAL = sorted(p for top in ("rules", "examples", "tests") for p in (TOP / top).rglob("*.y*ml"))
PUNCTUATION = st.text(st.sampled_from("ab1-?:,[]{}#&*!|>'\"%@` \n\n  ~.é\t"), max_size=40)


def carefully(text: str) -> tuple[Any, Messages]:
    messages = Messages(lines={"a.yaml": text.splitlines()})
    return nodes.read(text, "a.yaml", messages), messages


def assert_same(text: str) -> bool:
    """True when the quick reader read the text; what it read is then what the careful one reads."""
    found = events.read(text, "a.yaml")
    if found is None:
        return False
    expected, messages = carefully(text)
    assert not messages.items
    assert repr(found[0]) == repr(expected[0])  # types and the order of keys too; 1 is not true
    assert found[1:] == expected[1:]
    return True


@pytest.mark.parametrize("top", ["rules", "examples"])
def test_every_file_of_ours_is_read_quickly(top: str) -> None:
    texts = [p.read_text("utf-8") for p in REAL if p.is_relative_to(TOP / top)]
    assert len(texts) > 5
    assert all(assert_same(text) for text in texts)


def test_wrong_files_are_read_carefully() -> None:
    texts = [p.read_bytes().decode("utf-8", "replace") for p in REAL if p.is_relative_to(TOP / "tests")]
    for text in texts:
        if not assert_same(text):
            assert carefully(text)[1].items, text


def test_both_parsers_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without the C library has the other one only."""
    texts = [data.decode() for data in (*sorted(CASES, key=len)[2:5], *sorted(PACK_FILES, key=len)[-2:])]
    before = [events.read(text, "a.yaml") for text in texts]
    monkeypatch.setattr(events, "LOADER", yaml.SafeLoader)
    monkeypatch.setattr(nodes, "LOADER", yaml.SafeLoader)
    assert all(assert_same(text) for text in texts)
    assert [read and read[0] for read in before] == [events.read(text, "a.yaml")[0] for text in texts]  # type: ignore[index]


@pytest.mark.parametrize("loader", [nodes.LOADER, yaml.SafeLoader])
@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            "# nothing",
            "--- \n",
            "---\na: 1\n...\n",
            "a: 1\n---\nb: 2",
            "%YAML 1.1\n---\na: 1",
            "a: [b",
            "\x07",
        ),
        *("a: &x 1", "a: &x 1\nb: *x", "&a b: *a", "a: *a", "a: &x [*x]", "a: !x b", "a: !!str 1", "a: ! 1"),
        *(
            "!!map {a: 1}",
            "a: 1\na: 2",
            "{a: {b: 1, b: 2}}",
            "? [a]\n: 1",
            "? a\n: 1",
            "[{a: 1}: 2]",
            "[a: 1]",
        ),
        *(
            "<<: {a: 1}\nb: 2",
            "=: 1",
            "a:\n",
            "a: ''",
            "- a\n-\n- [ ]",
            "a: {}",
            "~: 1",
            "1: 2\n'1': 3",
            "a: |\n b\n c",
        ),
        *(
            "a: 1\nb: true\nc: 1.5\nd: 012\ne: '1'\nf: ~",
            "word",
            "[]",
            "é: [ü, 'x']",
            "[" * 41 + "]" * 41,
            "a: \ud800",
        ),
        *("[" * 40 + "]" * 40, "[" * 41 + "1" + "]" * 41, "[" * 40 + "1" + "]" * 40),
    ],
)
def test_odd_texts(monkeypatch: pytest.MonkeyPatch, text: str, loader: Any) -> None:
    monkeypatch.setattr(events, "LOADER", loader)
    monkeypatch.setattr(nodes, "LOADER", loader)
    odd = ("&", "*", "!") if "\x07" not in text else ("\x07",)
    assert not (assert_same(text) and any(sign in text for sign in odd))


@pytest.mark.parametrize("count", [nodes.MAX_NODES // 1000, nodes.MAX_NODES // 1000 + 1])
def test_the_bound_of_values_is_that_of_the_careful_reader(
    count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (events, nodes):
        monkeypatch.setattr(module, "MAX_NODES", nodes.MAX_NODES // 1000)
    text = f"[{', '.join(['a'] * (count - 1))}]"
    found = carefully(text)[0]
    assert (found is None) == (count > nodes.MAX_NODES)
    assert assert_same(text) == (found is not None)


@examples(150)
@given(st.sampled_from([*CASES, *PACK_FILES]), st.integers(0, 2**32).map(random.Random), st.integers(1, 8))
def test_spoilt_files(data: bytes, chance: random.Random, times: int) -> None:
    assert_same(spoilt(data, chance, times).decode("utf-8", "replace"))


@examples(400)
@given(PUNCTUATION)
def test_punctuation(text: str) -> None:
    assert_same(text)
