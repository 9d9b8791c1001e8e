"""Messages as text: the caret stands under its word on any page, and no file can steer the terminal."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from knockon.engine.diagnostics.message import Culprit, Message, Messages
from knockon.engine.model.span import Span
from knockon.engine.render.messages import MOST_SHOWN, message_text, messages_text
from knockon.engine.render.plain import Page

PAGE = Page(80)


def shown(line: str, column: int, length: int = 1, width: int = 80, label: str = "") -> list[str]:
    message = Message("KN201", "wrong", (Culprit(Span("a.yaml", 1, column, length), label),))
    return message_text(message, {"a.yaml": [line]}, Page(width)).splitlines()[2:]


def test_a_whole_message() -> None:
    message = Message(
        "KN201",
        "no fact is called `event_typ`",
        (Culprit(Span("a.yaml", 12, 3, 9)),),
        "event_type",
        "take it",
    )
    lines = {"a.yaml": ["x"] * 11 + ["  event_typ: hail"]}
    assert message_text(message, lines, PAGE) == (
        "KN201 error: no fact is called `event_typ`\n"
        "  at a.yaml:12:3\n"
        "  12 |   event_typ: hail\n"
        "     |   ^^^^^^^^^\n"
        "   = did you mean `event_type`?\n"
        "   = next: take it"
    )


def test_every_culprit_has_its_own_place_and_label() -> None:
    culprits = Culprit(Span("b.yaml", 1, 1, 4), "again here"), Culprit(Span("a.yaml", 1, 3, 2), "first here")
    text = message_text(Message("KN227", "twice", culprits), {"a.yaml": ["  R1"], "b.yaml": ["R1: x"]}, PAGE)
    assert text.splitlines()[1:] == [
        "  at b.yaml:1:1", "  1 | R1: x", "    | ^^^^ again here", "  at a.yaml:1:3", "  1 |   R1", "    |   ^^ first here",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("line", "column", "length", "expected"),
    [
        ("\ta: b", 2, 1, ["  1 |  a: b", "    |  ^"]),
        ("a:\t\tb", 5, 1, ["  1 | a:  b", "    |     ^"]),
        ("名前: x", 5, 1, ["  1 | 名前: x", "    |       ^"]),
        ("a: 名前", 4, 2, ["  1 | a: 名前", "    |    ^^^^"]),
        ("e\u0301: x", 5, 1, ["  1 | e\u0301: x", "    |    ^"]),
        ("a: b", 9, 3, ["  1 | a: b", "    | " + "    " + "^"]),
        ("a: b", 4, 99, ["  1 | a: b", "    |    ^"]),
        ("", 1, 1, ["  1 |", "    | ^"]),
        ("a\x1b[31m: b", 8, 1, ["  1 | a\ufffd[31m: b", "    |        ^"]),
        ("a: \u202eb", 5, 1, ["  1 | a: \ufffdb", "    |     ^"]),
    ],
)
def test_the_caret_stands_under_its_word(line: str, column: int, length: int, expected: list[str]) -> None:
    assert shown(line, column, length) == expected


def test_a_place_beyond_the_file_is_named_without_a_line() -> None:
    message = Message("KN201", "wrong", (Culprit(Span("a.yaml", 9, 1), "here"),))
    assert message_text(message, {"a.yaml": ["x"]}, PAGE).splitlines() == [
        "KN201 error: wrong", "  at a.yaml:9:1", "     here",
    ]  # fmt: skip


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("column", [1, 30, 200, 399])
def test_a_long_line_is_cut_around_the_marked_word(width: int, column: int) -> None:
    line = "".join(chr(97 + n % 26) for n in range(400))
    source, under = shown(line, column, 5, width)
    assert max(len(source), len(under)) <= width
    start = under.index("^")
    marked = source[start : start + under.count("^")]
    assert marked.removesuffix("...") == line[column - 1 :][: len(marked.removesuffix("..."))]
    assert marked[0] == line[column - 1]
    assert ("..." in source[:start]) == (column > 1 and line[: column - 1] not in source)


def test_a_label_that_does_not_fit_beside_stands_below() -> None:
    beside = shown("a: b", 1, 1, 40, "in the ring")
    below = shown("a" * 30, 1, 30, 40, "looked at through `unless` here")
    assert beside[1] == "    | ^ in the ring"
    assert below[1:] == ["    | " + "^" * 30, "     looked at through `unless` here"]


def test_control_characters_and_overrides_never_reach_the_terminal() -> None:
    text = "wrong \x1b]0;title\x07 \u202etxt\nnext\r"
    message = Message("KN201", text, (Culprit(Span("a\x1b[2J.yaml", 1, 1), text),), text, text)
    said = message_text(message, {"a\x1b[2J.yaml": [text]}, PAGE)
    assert not {"\x1b", "\x07", "\u202e", "\r"} & set(said)


def test_errors_come_first_then_file_by_file_from_top_to_bottom_with_a_count() -> None:
    messages = Messages(lines={"b.yaml": ["x"] * 9, "a.yaml": ["x"] * 9})
    for code, span, level in (
        ("KN302", Span("a.yaml", 1, 1), "note"),
        ("KN201", Span("a.yaml", 5, 1), "error"),
        ("KN202", Span("a.yaml", 2, 9), "error"),
        ("KN203", Span("b.yaml", 9, 1), "error"),
        ("KN204", Span("elsewhere", 1, 1), "error"),
    ):
        messages.add(code, "wrong", span, level=level)
    text = messages_text(messages, PAGE)
    assert [w for w in text.split() if w.startswith("KN")] == ["KN203", "KN202", "KN201", "KN204", "KN302"]
    assert text.endswith("4 problems; nothing was done")


def test_notes_alone_stop_nothing() -> None:
    messages = Messages()
    messages.add("KN302", "answered twice", level="note")
    assert "nothing was done" not in messages_text(messages, PAGE)


def test_a_flood_is_cut_and_counted() -> None:
    messages = Messages()
    for n in range(MOST_SHOWN + 7):
        messages.add("KN201", f"wrong {n}")
    text = messages_text(messages, PAGE)
    assert "... and 7 more" in text
    assert text.endswith(f"{MOST_SHOWN + 7} problems; nothing was done")


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=120), st.integers(1, 130), st.integers(1, 130), st.integers(40, 120))
def test_any_line_keeps_to_the_page_with_carets_under_it(
    line: str, column: int, length: int, width: int
) -> None:
    line = "".join(line.splitlines())
    _source, under, *_ = shown(line, column, length, width)
    assert "^" in under
    assert set(under) <= set(" 1|^")
