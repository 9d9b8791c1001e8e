"""Rules: alternatives, names bound and used, strength that is inherited, validity, what withdraws and replaces."""

from __future__ import annotations

from pathlib import Path

import pytest
from knockon.engine.load.rules import MAX_ALTERNATIVES, expand, variables
from knockon.engine.model.rule import Citation
from written_pack import codes, load, problems, rule

WHEN = "when: [{fact: event_type, is: collision}]"


def test_a_rule_is_read_whole(tmp_path: Path) -> None:
    made = load(
        tmp_path,
        "  - id: T009\n    title: A hit asks for a look\n"
        "    when: [{fact: event_type, is: collision}, {any: [[{fitted: eye}], [{fitted: ear}, {derived: d_jolt}]]}]\n"
        "    unless: [{fact: towed, is: no}, {all: [{fitted: ear}, {severity: 2}]}]\n"
        "    then: [{plan: look}]\n    strength: check_whether\n    why: it moves\n    note: look it up\n"
        "    source: [{id: habit, at: p. 1}]\n    valid: {from: 2020-01-01, until: 2030-01-01}\n",
    ).rules["T009"]
    assert (made.title, made.strength, made.why, made.note) == (
        "A hit asks for a look", "check_whether", "it moves", "look it up",
    )  # fmt: skip
    assert made.source == (Citation("habit", "p. 1"),)
    assert (made.valid_from, made.valid_until, made.status) == ("2020-01-01", "2030-01-01", "active")
    assert [len(group) for group in made.unless] == [1, 2]
    assert made.span.line > 0


def test_alternatives_multiply_in_written_order(tmp_path: Path) -> None:
    body = (
        "when: [{any: [[{fitted: eye}], [{fitted: ear}]]}, {derived: d_jolt}, "
        "{any: [[{code: eye}], [{code: ear}, {code: lamp}]]}]"
    )
    program = load(tmp_path, rule(body=body))
    found = [[(p.kind, *p.subjects) for p in choice] for choice in expand(program.rules["T001"])]
    jolt = ("derived", "d_jolt")
    assert found == [
        [("fitted", "eye"), jolt, ("code", "eye")],
        [("fitted", "eye"), jolt, ("code", "ear"), ("code", "lamp")],
        [("fitted", "ear"), jolt, ("code", "eye")],
        [("fitted", "ear"), jolt, ("code", "ear"), ("code", "lamp")],
    ]
    assert [a.id for a in program.alternatives] == ["T001#0", "T001#1", "T001#2", "T001#3"]


def choices(*numbers: int) -> str:
    groups = ("{any: [" + ", ".join(["[{fitted: eye}]"] * n) + "]}" for n in numbers)
    return "when: [" + ", ".join(groups) + "]"


def test_the_bound_of_alternatives_itself_is_allowed(tmp_path: Path) -> None:
    assert len(load(tmp_path, rule(body=choices(8, 8))).alternatives) == MAX_ALTERNATIVES


def test_one_alternative_too_many_is_refused_before_any_is_built(tmp_path: Path) -> None:
    (message,) = problems(tmp_path, rule(body=choices(13, 5)))
    assert (message.code, message.text) == ("KN221", "`T001` stands for 65 alternatives; at most 64")
    (endless,) = problems(tmp_path, rule(body=choices(*[60] * 20)))
    assert endless.code == "KN221"


@pytest.mark.parametrize(
    ("body", "then", "expected"),
    [
        ("when: [{touched: any, side: $s}]", "{plan: aim, side: $s}", []),
        ("when: [{fitted: eye}]", "{plan: aim, side: $s}", ["KN218"]),
        ("when: [{any: [[{touched: nose, side: $s}], [{fitted: eye}]]}]", "{plan: aim, side: $s}", ["KN218"]),
        ("when: [{planned: $o}]", "{hold: $o}", []),
        ("when: [{fitted: eye}]", "{hold: $o}", ["KN218"]),
        ("when: [{fitted: eye}], unless: [{touched: nose, side: $s}]", "{plan: look}", ["KN217"]),
        (
            "when: [{fitted: eye}], unless: [{all: [{fitted: ear}, {touched: nose, side: $s}]}]",
            "{plan: look}",
            ["KN217"],
        ),
        (
            "when: [{fitted: eye}], unless: [{all: [{fitted: ear}], fact: area, some: true}]",
            "{plan: look}",
            ["KN210"],
        ),
        ("when: [{fact: built, at_least: 2012-09-01}]", "{fits: eye}", []),
        ("when: [{fact: built, at_least: 2012-09-01}, {fitted: ear}]", "{fits: eye}", ["KN219"]),
    ],
)
def test_names_are_bound_before_they_are_used(
    tmp_path: Path, body: str, then: str, expected: list[str]
) -> None:
    assert codes(problems(tmp_path, rule(body=body, then=then))) == expected


def test_the_names_of_patterns(tmp_path: Path) -> None:
    made = load(tmp_path, rule(body="when: [{fitted: $x}, {touched: $p, carries: $x, side: $s}]")).rules[
        "T001"
    ]
    assert variables(expand(made)[0]) == {"$x", "$p", "$s"}


@pytest.mark.parametrize(
    ("body", "fits"),
    [
        ("when: [{derived: d_jolt}]", True),
        ("when: [{severity: 2}]", True),
        ("when: [{fitted: eye}]", False),
        ("when: [{any: [[{derived: d_jolt}], [{fitted: eye}]]}]", False),
    ],
)
def test_strength_is_inherited_only_from_something_derived(tmp_path: Path, body: str, fits: bool) -> None:
    text = rule(body=body).replace("strength: required", "strength: inherited")
    assert codes(problems(tmp_path, text)) == ([] if fits else ["KN220"])


@pytest.mark.parametrize("key", ["title", "when", "then", "strength"])
def test_a_rule_that_lacks_a_part_is_told_which(tmp_path: Path, key: str) -> None:
    parts = {
        "title": "title: one, ",
        "when": "when: [{fitted: eye}], ",
        "then": "then: [{plan: look}], ",
        "strength": "strength: required, ",
    }
    text = "".join(v for k, v in parts.items() if k != key)
    messages = problems(tmp_path, f"  - {{id: T001, {text}why: it moves, source: [{{id: habit}}]}}\n")
    assert [m.text for m in messages] == [f"rule `T001` has no `{key}`"]


def test_what_withdraws_does_nothing_else(tmp_path: Path) -> None:
    (message, _) = problems(tmp_path, rule(body="withdraw: T009, when: []"))
    assert (message.code, len(message.culprits)) == ("KN215", 3)
    assert "`when`, `then`, `strength` would do nothing" in message.text


def test_a_rule_that_ends_before_it_begins_is_refused(tmp_path: Path) -> None:
    for until, expected in (("2020-01-01", ["KN114"]), ("2020-01-02", [])):
        body = f"{WHEN}, valid: {{from: 2020-01-01, until: {until}}}"
        assert codes(problems(tmp_path, rule(body=body))) == expected


def test_two_wrong_rules_and_a_twin_are_told_in_one_run(tmp_path: Path) -> None:
    text = rule("T001", "when: [{fitted: eey}]") + rule("T001") + rule("T002", then="{plan: lok}")
    assert sorted(codes(problems(tmp_path, text))) == ["KN201", "KN201", "KN227"]


def test_a_source_nobody_registered_is_unknown(tmp_path: Path) -> None:
    (message,) = problems(tmp_path, rule().replace("{id: habit}", "{id: habits}"))
    assert (message.code, message.nearest) == ("KN201", "habit")
