"""Linking: packs stacked, rules replaced and withdrawn, what is too much refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from knockon.engine.diagnostics.message import InputError
from knockon.engine.load.bounds import MAX_MATCHES, MAX_RECORD_PATTERNS
from knockon.engine.load.link import is_record
from knockon.engine.load.pack import load_program
from knockon.engine.model.catalogue import Test as FactTest
from knockon.engine.model.program import Program
from knockon.engine.model.rule import Pattern
from written_pack import codes, load, problems, rule, write

TWO = rule("T001") + rule("T002", then="{plan: sign}")


def stacked(tmp_path: Path, *above: str) -> Program:
    """The small pack with two rules, and packs of rules on top of it."""
    folders, below = [write(tmp_path / "tiny", TWO)], "tiny"
    for i, rules in enumerate(above):
        folders.append(write(tmp_path / f"p{i}", rules, "", f"p{i}", below))
        below = f"p{i}"
    return load_program(folders)


def refused(tmp_path: Path, *above: str) -> list[str]:
    with pytest.raises(InputError) as error:
        stacked(tmp_path, *above)
    return codes(error.value.messages.items)


def over(id_: str, target: str, how: str = "replace") -> str:
    if how == "withdraw":
        return f"  - {{id: {id_}, withdraw: {target}, why: not here, source: [{{id: habit}}]}}\n"
    return rule(id_, f"when: [], replace: {target}")


def test_a_later_pack_replaces_and_withdraws_by_id(tmp_path: Path) -> None:
    program = stacked(tmp_path, over("M001", "T001") + over("M002", "T002", "withdraw"))
    assert set(program.rules) == {"M001"}
    assert {id_: r.id for id_, r in program.overridden.items()} == {"T001": "M001", "T002": "M002"}
    assert [a.rule.id for a in program.alternatives] == ["M001"]


def test_a_replacement_can_be_replaced_in_turn(tmp_path: Path) -> None:
    program = stacked(tmp_path, over("M001", "T001"), over("S001", "M001"))
    assert set(program.rules) == {"T002", "S001"}


@pytest.mark.parametrize(
    ("above", "expected"),
    [
        ([rule("T001")], ["KN227"]),
        ([over("M001", "T009")], ["KN201"]),
        ([over("M001", "T001") + over("M002", "T001")], ["KN229"]),
        ([over("M001", "T001"), over("S001", "T001", "withdraw")], ["KN229"]),
        ([rule("M001") + over("M002", "M001")], ["KN229"]),
    ],
)
def test_nothing_is_overridden_by_accident(tmp_path: Path, above: list[str], expected: list[str]) -> None:
    assert refused(tmp_path, *above) == expected


def test_a_pack_that_applies_sometimes_cannot_override(tmp_path: Path) -> None:
    below, above = write(tmp_path / "tiny", TWO), write(tmp_path / "m", over("M001", "T001"), "", "m", "tiny")
    head = above / "pack.yaml"
    head.write_text(head.read_text() + "applies: [{fact: event_type, is: hail}]\n")
    with pytest.raises(InputError) as error:
        load_program([below, above])
    assert codes(error.value.messages.items) == ["KN228"]


def test_where_a_pack_applies_is_a_condition_of_each_of_its_rules(tmp_path: Path) -> None:
    below, above = write(tmp_path / "tiny", TWO), write(tmp_path / "m", rule("M001"), "", "m", "tiny")
    head = above / "pack.yaml"
    head.write_text(head.read_text() + "applies: [{fact: towed, is: yes}]\n")
    made = {a.id: [p.subjects[0] for p in a.ground] for a in load_program([below, above]).alternatives}
    assert made["M001"] == ["event_type", "towed"]
    assert made["T001"] == ["event_type"]


def test_validity_is_a_test_of_the_date_of_the_case(tmp_path: Path) -> None:
    body = "when: [{fitted: eye}], valid: {from: 2020-01-01, until: 2021-01-01}"
    (alternative,) = load(tmp_path, rule(body=body)).alternatives
    assert [(p.subjects, p.test) for p in alternative.ground[1:]] == [
        (("case_date",), FactTest("at_least", (20200101.0,))),
        (("case_date",), FactTest("below", (20210101.0,))),
    ]


def test_drafts_and_retired_rules_are_kept_but_never_evaluated(tmp_path: Path) -> None:
    for status in ("draft", "retired"):
        program = load(tmp_path, rule(body=f"when: [], status: {status}"))
        assert (set(program.rules), program.alternatives) == ({"T001"}, ())


def test_joins_are_bounded(tmp_path: Path) -> None:
    free = ", ".join(f"{{touched: any, side: ${v}}}" for v in "abcdef")
    joined = ", ".join("{touched: $p, side: $s}" for _ in range(MAX_RECORD_PATTERNS))
    assert codes(problems(tmp_path, rule(body=f"when: [{free}]"))) == ["KN221"]
    assert codes(problems(tmp_path, rule(body=f"when: [{joined}]"))) == []
    assert codes(problems(tmp_path, rule(body=f"when: [{joined}, {{derived: d_jolt}}]"))) == ["KN221"]
    assert MAX_MATCHES < 9**6


@pytest.mark.parametrize(
    ("pattern", "by_law", "expected"),
    [
        (Pattern("fact", ("area",)), (), False),
        (Pattern("fact", ("area",), place="$s"), (), True),
        (Pattern("fitted", ("eye",)), (), False),
        (Pattern("fitted", ("eye",)), ("eye",), True),
        (Pattern("fitted", ("ear",)), ("eye",), False),
        (Pattern("fitted", (), "$x"), (), True),
        (Pattern("code", (), "$x"), (), True),
        (Pattern("derived", ("d_jolt",)), (), True),
        (Pattern("touched", ("nose",)), (), True),
    ],
)
def test_which_patterns_range_over_records(pattern: Pattern, by_law: tuple[str, ...], expected: bool) -> None:
    assert is_record(pattern, frozenset(by_law)) is expected
