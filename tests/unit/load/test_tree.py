"""The one YAML reader: plain values, the place of each, and nothing that could hurt."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.nodes import MAX_DEPTH
from knockon.engine.load.tree import Tree, parse_tree, read_tree
from knockon.engine.model.span import Span


def read(text: str) -> Tree:
    messages = Messages()
    tree = parse_tree(text, "a.yaml", messages)
    assert tree is not None, [m.text for m in messages]
    return tree


def refusal(text: str) -> tuple[str, str, Span]:
    messages = Messages()
    assert parse_tree(text, "a.yaml", messages) is None
    first = messages.items[0]
    return first.code, first.text, first.culprits[0].span


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("yes", "yes"),
        ("no", "no"),
        ("on", "on"),
        ("'12'", "12"),
        ("12", 12),
        ("-3.5", -3.5),
        ("1e3", 1000.0),
        ("012", "012"),
        ("0x1F", "0x1F"),
        ("1_000", "1_000"),
        (".inf", ".inf"),
        ("2026-11-16", "2026-11-16"),
        ("12:30", "12:30"),
        ("true", True),
        ("False", False),
        ("~", None),
        ("''", ""),
        ("|\n two\n lines\n", "two\nlines\n"),
        ("99999999999999999999", "99999999999999999999"),
    ],
)
def test_scalars_stay_the_words_they_were(text: str, value: object) -> None:
    found = read(f"key: {text}").value["key"]
    assert (found, type(found)) == (value, type(value))


def test_every_value_and_key_has_its_place() -> None:
    tree = read("case: a\nparts:\n  - {part: nose, side: left}\n")
    assert tree.at("parts", 0, "side") == Span("a.yaml", 3, 24, 4)
    assert tree.key("parts", 0, "side") == Span("a.yaml", 3, 18, 4)
    assert tree.at("parts", 7, "side") == tree.at("parts")
    assert tree.key("nothing") == tree.at()
    assert str(tree.at("case")) == "a.yaml:1:7"


def test_without_some_values_the_rest_keep_their_places() -> None:
    tree = read("rules: [{id: a}, {id: b}, {id: c, d: [1, 2]}]\nmore: {x: 1, y: 2}\nlast: z\n")
    left = tree.without({("rules", 0), ("rules", 2, "d", 0), ("more", "x"), ("last",)})
    assert left.value == {"rules": [{"id": "b"}, {"id": "c", "d": [2]}], "more": {"y": 2}}
    assert left.at("rules", 0, "id") == tree.at("rules", 1, "id")
    assert left.at("rules", 1, "d", 0) == tree.at("rules", 2, "d", 1)
    assert left.key("more", "y") == tree.key("more", "y")
    assert ("more", "x") not in left.values
    assert tree.value["last"] == "z"


@pytest.mark.parametrize(
    ("text", "code", "said", "place"),
    [
        ("a: [b", "KN104", "not valid YAML", "a.yaml:2:1"),
        ("a: b: c", "KN104", "not valid YAML", "a.yaml:1:5"),
        ("a:\n\tb: c", "KN104", "a tab stands where YAML wants spaces", "a.yaml:2:1"),
        ("a: 1\nb: 2\na: 3", "KN106", "`a` is written twice", "a.yaml:3:1"),
        ("a: !!str b", "", "", ""),
        ("a: !x b", "KN104", "tag `!x` is not used here", "a.yaml:1:4"),
        ("a: !x [b]", "KN104", "tag `!x` is not used here", "a.yaml:1:4"),
        ("a: !!set {b}", "KN104", "is not used here", "a.yaml:1:4"),
        ("a: &x [b]\nc: *x", "KN107", "an alias repeats this value", "a.yaml:1:4"),
        ("a: *x", "KN104", "undefined alias", "a.yaml:1:4"),
        ("? [a]\n: b", "KN104", "a key must be plain text", "a.yaml:1:3"),
        ("a: 1\n---\nb: 2", "KN104", "another document", "a.yaml:2:1"),
        ("", "KN105", "is empty", "a.yaml:1:1"),
        ("# only a comment", "KN105", "is empty", "a.yaml:1:1"),
        ("a: 1\nb: \x07", "KN104", "not readable as YAML", "a.yaml:2:4"),
        ("[" * 300, "KN107", "nested too deeply", "a.yaml:1:201"),
        ("[" * 5000 + "]" * 5000, "KN107", "nested too deeply", "a.yaml:1:201"),
        ("- " * 60, "KN107", "nested too deeply", "a.yaml:1:1"),
        ("a:\n" + " " * 500 + "b: 1", "KN107", "nested too deeply", "a.yaml:2:1"),
    ],
)
def test_what_is_refused_names_its_place(text: str, code: str, said: str, place: str) -> None:
    if not code:
        assert read(text).value == {"a": "b"}
        return
    found, sentence, span = refusal(text)
    assert (found, str(span)) == (code, place)
    assert said in sentence


def test_twins_of_a_key_are_shown_at_both_places() -> None:
    messages = Messages()
    assert parse_tree("a: 1\nb: {c: 1, c: 2}\na: 2\n", "a.yaml", messages) is None
    assert [[str(c.span) for c in m.culprits] for m in messages] == [
        ["a.yaml:2:11", "a.yaml:2:5"],
        ["a.yaml:3:1", "a.yaml:1:1"],
    ]


def test_nesting_is_bounded() -> None:
    deep = "".join(f"{' ' * n}a:\n" for n in range(MAX_DEPTH - 1)) + " " * MAX_DEPTH + "a: 1\n"
    assert read(deep).value
    assert refusal(f"a:\n{''.join(f' {line}' for line in deep.splitlines(True))}")[0] == "KN107"


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_bytes("\ufeffa: ü\nb: 2".encode())
    messages = Messages()
    tree = read_tree(tmp_path / "a.yaml", messages, "a.yaml")
    assert tree is not None
    assert tree.value == {"a": "ü", "b": 2}
    assert tree.key("a") == Span("a.yaml", 1, 1, 1)


def test_windows_line_ends_are_read(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_bytes(b"a: 1\r\nb: 2\r\n")
    tree = read_tree(tmp_path / "a.yaml", Messages(), "a.yaml")
    assert tree is not None
    assert (tree.value, tree.at("b").line) == ({"a": 1, "b": 2}, 2)


def test_files_that_are_none(tmp_path: Path) -> None:
    messages = Messages()
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for name in ("nothing", ".", "loop", "a\0b"):
        assert read_tree(tmp_path / name, messages, name) is None
    assert {m.code for m in messages} == {"KN101"}
    assert len(messages.items) == 4
    assert all(m.next_step for m in messages)


# No digits: YAML 1.2 reads 1E3 as a number where the writer, of YAML 1.1, sees a word and puts no quotes.
_WORD = st.text(st.characters(exclude_categories=["Nd", "Cs"]), max_size=8)
_PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**12), 10**12) | _WORD,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_WORD, inner, max_size=3),
    max_leaves=12,
)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(_WORD, _PLAIN, min_size=1, max_size=3))
def test_what_was_dumped_is_read_back_with_a_place_inside_the_file(value: dict[str, object]) -> None:
    text = yaml.safe_dump(value, allow_unicode=False, default_flow_style=False, width=10_000)
    messages = Messages()
    tree = parse_tree(text, "a.yaml", messages)
    if (
        tree is None
    ):  # PyYAML writes some words of YAML 1.1 without quotes only when they are text; nothing else
        raise AssertionError([m.text for m in messages])
    assert tree.value == value
    lines = text.splitlines() or [""]
    assert all(1 <= s.line <= len(lines) + 1 and s.column >= 1 for s in tree.values.values())
