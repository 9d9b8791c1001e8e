"""JSON Schema findings in words: which place, what was wanted, which word is nearest."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command import TOP
from jsonschema import Draft202012Validator
from knockon.engine.diagnostics.message import Message, Messages
from knockon.engine.load.tree import Tree, parse_tree
from knockon.engine.load.validate import sound_part, validate

CASE = "case: a\ndate: 2026-11-16\n"


def read(text: str) -> tuple[Tree, Messages]:
    messages = Messages()
    tree = parse_tree(text, "a.yaml", messages)
    assert tree is not None
    return tree, messages


def found(text: str, kind: str = "case") -> list[Message]:
    tree, messages = read(text)
    assert validate(tree, kind, messages) is (messages.items == [])
    return messages.items


def test_a_case_that_keeps_to_the_schema_has_no_message() -> None:
    assert found(CASE + "intake: {event_type: collision}\n") == []


@pytest.mark.parametrize(
    ("more", "code", "text", "nearest", "place"),
    [
        ("intaek: {}", "KN110", "`intaek` is not known in the file", "intake", "3:1"),
        (
            "parts: [{part: a, sid: left}]",
            "KN110",
            "`sid` is not known in entry 1 of `parts`",
            "side",
            "3:19",
        ),
        ("parts: [{side: left}]", "KN111", "entry 1 of `parts` has no `part`", "", "3:9"),
        (
            "parts: [{part: a, side: lefft}]",
            "KN112",
            "`lefft` is not one of: left, right, front, rear, front_left, front_right, rear_left, rear_right",
            "left",
            "3:25",
        ),
        ("scan: [a]", "KN113", "`scan` must be a mapping (`key: value` lines), not a list", "", "3:7"),
        (
            "parts: [{part: 12}]",
            "KN113",
            "`part` of entry 1 of `parts` must be text, not a whole number",
            "",
            "3:16",
        ),
        ("vehicle: {vin: true}", "KN113", "`vin` of `vehicle` must be text, not true or false", "", "3:16"),
        ("log: [{at: 2026-02-30T25:00}]", "", "", "", ""),
        ("log: [{at: noon}]", "KN114", "`noon` is not a date, or a date and time", "", "3:12"),
        ("procedures: []", "", "", "", ""),
    ],
)
def test_each_kind_of_finding(more: str, code: str, text: str, nearest: str, place: str) -> None:
    messages = found(CASE + more)
    assert [m.code for m in messages] == ([code] if code else [])
    for message in messages:
        assert text in message.text
        assert message.nearest == nearest
        assert str(message.culprits[0].span) == f"a.yaml:{place}"
        assert message.next_step


def test_a_date_is_judged_once_by_form_and_once_by_the_calendar() -> None:
    assert [m.code for m in found("case: a\ndate: yesterday\n")] == ["KN114"]
    assert [m.code for m in found("case: a\ndate: 2026-02-30\n")] == ["KN306"]
    assert [m.code for m in found("case: a\ndate: 2028-02-29\n")] == []


def test_an_entry_with_an_id_is_called_by_it() -> None:
    (message,) = found("rules: [{id: R001, why: it moves}]\n", "content")
    assert message.text == "rule `R001` has no `source`"


def test_the_sound_part_leaves_out_what_is_broken_and_names_it() -> None:
    text = (
        "rules:\n  - {id: R001, why: it moves}\n  - {id: R002, why: it moves, source: [{id: habit}], wy: 1}\n"
        "events: {ev_a: {title: a, scope: vehicle}, ev_b: {title: b, scope: moon}}\nlabour: none\n"
    )
    tree, messages = read(text)
    sound, left_out = sound_part(tree, "content", messages)
    assert sound is not None
    assert [r["id"] for r in sound.value["rules"]] == ["R002"]
    assert "wy" not in sound.value["rules"][0]
    assert list(sound.value["events"]) == ["ev_a"]
    assert "labour" not in sound.value
    assert left_out == {"R001", "ev_b", "wy", "labour"}
    assert sound.at("rules", 0, "id").line == 3
    assert len(messages.items) == 4


def test_a_file_that_is_no_mapping_has_no_sound_part() -> None:
    tree, messages = read("- a\n- b\n")
    assert sound_part(tree, "case", messages) == (None, set())
    assert [m.code for m in messages] == ["KN113"]


def test_a_sound_file_is_left_as_it_is() -> None:
    tree, messages = read(CASE)
    assert sound_part(tree, "case", messages)[0] is tree


@pytest.mark.parametrize("path", sorted((TOP / "schemas").glob("*.json")), ids=lambda p: str(p.name))
def test_every_schema_is_one_and_names_itself_and_its_version(path: Path) -> None:
    schema = json.loads(path.read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    assert schema["$id"].endswith(f"/{path.name}")
    assert schema["version"] == 1
