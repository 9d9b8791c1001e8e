"""Editor schemas: valid themselves, met by the examples and the packs, and closed to every wrong name."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from command import built_in
from jsonschema import Draft202012Validator
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.cache import built_in_folders
from knockon.engine.load.tree import read_tree
from knockon.engine.review.schemas import editor_schema

EXAMPLES = Path(__file__).parents[3] / "examples"


@cache
def checker(kind: str) -> Draft202012Validator:
    schema = editor_schema(kind, built_in())
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def faults(kind: str, value: object) -> list[str]:
    return [f"{list(e.absolute_path)}: {e.message[:200]}" for e in checker(kind).iter_errors(value)]


def value(path: Path) -> Any:
    tree = read_tree(path, Messages())
    assert tree is not None
    return tree.value


def pack_files() -> Iterator[Path]:
    for folder in built_in_folders():
        yield from sorted(p for p in folder.glob("*.yaml") if p.name != "pack.yaml")


@pytest.mark.parametrize("path", sorted(EXAMPLES.rglob("case.yaml")), ids=lambda p: p.parent.name)
def test_examples_meet_the_case_schema(path: Path) -> None:
    assert faults("case", value(path)) == []


@pytest.mark.parametrize("path", list(pack_files()), ids=lambda p: f"{p.parent.name}/{p.name}")
def test_packs_meet_the_rule_schema(path: Path) -> None:
    assert faults("rule", value(path)) == []


@pytest.mark.parametrize("folder", built_in_folders(), ids=lambda p: p.name)
def test_heads_meet_the_pack_schema(folder: Path) -> None:
    assert faults("pack", value(folder / "pack.yaml")) == []


WRONG_CASES = [
    {"intake": {"event_typ": "collision"}},
    {"intake": {"event_type": "colision"}},
    {"intake": {"event_type": ["collision"]}},
    {"teardown": {"area": ["frnt"]}},
    {"vehicle": {"event_type": "collision"}},
    {"fitted": {"yes": ["radar_frnt"]}},
    {"fitted": {"no": "all"}},
    {"scan": {"codes": {"yes": ["radar_frnt"]}}},
    {"lookup": {"methods": {"radar_front": "statc"}}},
    {"parts": [{"part": "bumper"}]},
    {"parts": [{"part": "bumper_cover_front", "actions": ["r"]}]},
    {"procedures": [{"operation": "ocs", "document": "d", "looked_up": "2026-01-01", "verdict": "required"}]},
    {"log": [{"at": "2026-01-01", "did": "ocs_chek"}]},
    {"log": [{"at": "2026-01-01", "did": "ocs_check.left"}]},
    {"log": [{"at": "2026-01-01", "event": "ev_jolt"}]},
]


@pytest.mark.parametrize("wrong", WRONG_CASES)
def test_wrong_names_in_a_case(wrong: dict[str, Any]) -> None:
    assert len(faults("case", {"case": "x", "date": "2026-01-01", **wrong})) == 1


def test_open_answers_are_welcome() -> None:
    given = {
        "event_type": "unknown",
        "area": "none",
        "zone": ["fl"],
        "impact_count": "2 blows",
        "hours_since": 3,
    }
    log = [{"at": "2026-01-01", "did": "radar_corner_cal.rear_left", "result": "pass"}]
    assert faults("case", {"case": "x", "date": "2026-01-01", "intake": given, "log": log}) == []


RULE = {"id": "S1", "title": "t", "strength": "required", "why": "w", "source": [{"id": "common_practice"}]}


@pytest.mark.parametrize(
    "wrong",
    [
        {"when": [{"fact": "event_typ", "is": "collision"}]},
        {"when": [{"fact": "event_type", "is": "colision"}]},
        {"when": [{"fact": "area", "any_of": ["frnt"]}]},
        {"when": [{"fact": "module_new", "any_of": ["radar_frnt"]}]},
        {"when": [{"touched": ["bumper"]}]},
        {"when": [{"touched": "any", "carries": "radar_frnt"}]},
        {"when": [{"derived": "d_jlt"}]},
        {"when": [{"result": "any", "outcome": ["failed"]}]},
        {"when": [{"any": [[{"fitted": "radar_frnt"}]]}]},
        {"unless": [{"all": [{"planned": "ocs"}]}]},
        {"then": [{"plan": "ocs"}]},
        {"then": [{"conclude": ["d_jlt"]}]},
        {"source": [{"id": "habit"}]},
        {"replace": "R9999"},
        {"accept": [{"code": "KN101", "reason": "r"}]},
    ],
)
def test_wrong_names_in_a_rule(wrong: dict[str, Any]) -> None:
    good = {"when": [{"derived": "d_jolt"}], "then": [{"plan": "ocs_check"}], **RULE}
    assert faults("rule", {"rules": [good]}) == []
    assert faults("rule", {"rules": [{**good, **wrong}]}) != []


def test_names_and_places_to_bind_are_welcome() -> None:
    when = [
        {"fact": "zone", "any_of": ["fl"], "side": "$s"},
        {"touched": "any", "carries": "$x"},
        {"planned": "$o"},
    ]
    when.append({"fact": "lamp_srs", "is": "not_known"})
    then = [{"plan": "$o", "side": "$s"}, {"hold": ["ocs_check"], "side": "all"}]
    assert faults("rule", {"rules": [{**RULE, "when": when, "then": then}]}) == []


def test_ids_carry_their_titles() -> None:
    program = built_in()
    words = editor_schema("case", program)["$defs"]["operation"]
    titles = dict(zip(words["enum"], words["enumDescriptions"], strict=True))
    assert titles == {o.id: o.title for o in program.operations.values()}


def test_no_other_kind() -> None:
    with pytest.raises(ValueError, match="one of: case, pack, rule"):
        editor_schema("plan", built_in(1))
