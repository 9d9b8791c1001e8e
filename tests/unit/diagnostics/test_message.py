"""Messages as data: each once, errors apart from notes, and every code explained."""

from __future__ import annotations

from knockon.engine.diagnostics.message import Culprit, InputError, Message, Messages
from knockon.engine.model.span import NOWHERE, Span

HERE = Span("a.yaml", 3, 5, 4)


def test_a_message_keeps_every_place_and_a_bare_place_has_no_label() -> None:
    messages = Messages()
    messages.add(
        "KN201", "no such name", HERE, Culprit(NOWHERE, "first here"), nearest="name", next_step="take it"
    )
    assert list(messages) == [
        Message("KN201", "no such name", (Culprit(HERE), Culprit(NOWHERE, "first here")), "name", "take it")
    ]


def test_the_same_message_is_kept_once() -> None:
    messages = Messages()
    for _ in range(3):
        messages.add("KN201", "no such name", HERE)
    messages.extend([Message("KN201", "no such name", (Culprit(HERE),)), Message("KN202", "twice")])
    assert [m.code for m in messages] == ["KN201", "KN202"]


def test_notes_and_warnings_are_no_errors() -> None:
    messages = Messages()
    messages.add("KN302", "answered twice", HERE, level="note")
    messages.add("KN331", "two answers", HERE, level="warning")
    assert messages.errors == []
    messages.add("KN306", "no date", HERE)
    assert [m.code for m in messages.errors] == ["KN306"]


def test_an_input_error_carries_the_messages_and_reads_as_a_sentence() -> None:
    messages = Messages()
    assert str(InputError(messages)) == "wrong input"
    messages.add("KN306", "no date", HERE)
    error = InputError(messages)
    assert error.messages is messages
    assert str(error) == "KN306: no date"


def test_a_place_reads_as_people_write_it() -> None:
    assert str(HERE) == "a.yaml:3:5"
