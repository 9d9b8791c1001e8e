"""Scenarios: imagined facts become a case by the same road as a real one, and a wrong name is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from knockon.engine.diagnostics.message import InputError
from knockon.engine.load.scenario import scenario_case
from knockon.engine.model.case import CLOSED, Case, State
from written_pack import WORDS, codes, load


def imagined(tmp_path: Path, given: str) -> Case:
    program = load(tmp_path, words=f"{WORDS}scenarios:\n  - {{name: One sentence, given: {{{given}}}}}\n")
    return scenario_case(program.scenarios[0], program)


def test_what_is_not_named_is_known_and_negative(tmp_path: Path) -> None:
    made = imagined(tmp_path, "facts: {event_type: hail, area: [front], speed: 12}, fitted: [eye]")
    assert made.id == "One sentence"
    assert made.state(("fact", "event_type")).known == {"hail"}
    assert made.state(("fact", "speed")).known == {12.0}
    assert made.state(("fact", "towed")).known == {"no"}
    assert made.state(("fitted", "eye")).known == {"yes"}
    assert made.state(("fitted", "ear")).known == {"no"}
    assert made.state(("touched", "nose", "front")) is CLOSED
    assert made.date == "2026-01-31"


def test_with_the_rest_unknown_it_is_assumed(tmp_path: Path) -> None:
    made = imagined(tmp_path, "rest: unknown, not_fitted: [ear], date: 2020-02-02, facts: {area: unknown}")
    assert made.state(("fact", "event_type")) == State(None, frozenset(("collision",)))
    assert made.state(("fitted", "ear")).known == {"no"}
    assert made.state(("fitted", "eye")).known is None
    assert made.state(("fact", "case_date")).known == {20200202.0}


def test_parts_methods_codes_procedures_and_results(tmp_path: Path) -> None:
    made = imagined(
        tmp_path,
        "parts: [{part: wing, side: left, actions: [rr], damage: broken}, {part: seat, damage: none}], codes: [eye], "
        "methods: {eye: static}, procedures: {look: required}, results: {look: pass, aim.front_left: fail}",
    )
    assert made.state(("touched", "wing", "front_left")).known == {"rr"}
    assert made.state(("damaged", "wing", "front_left")).known == {"broken"}
    assert made.state(("damaged", "seat", "right")).known == set()
    assert made.state(("code", "eye")).known == {"yes"}
    assert made.state(("procedure", "look")).known == {"required"}
    assert made.state(("result", "aim", "front_left")).known == {"fail"}
    assert made.standing["look", ""].result == "pass"


@pytest.mark.parametrize(
    "given",
    [
        "facts: {event_typ: hail}",
        "facts: {event_type: hial}",
        "facts: {lost: [hand]}",
        "fitted: [hand]",
        "not_fitted: [hand]",
        "codes: [hand]",
        "methods: {hand: static}",
        "methods: {eye: magic}",
        "procedures: {lok: required}",
        "procedures: {look: perhaps}",
        "results: {lok: pass}",
        "results: {aim.above: pass}",
        "parts: [{part: tail}]",
        "parts: [{part: nose, actions: [paint]}]",
        "parts: [{part: nose, damage: bent}]",
    ],
)
def test_a_name_nobody_knows_is_refused_at_the_scenario(tmp_path: Path, given: str) -> None:
    with pytest.raises(InputError) as error:
        imagined(tmp_path, given)
    (message,) = error.value.messages
    assert message.code == "KN201"
    assert message.culprits[0].span.file.endswith("words.yaml")


def test_a_side_the_part_has_not(tmp_path: Path) -> None:
    with pytest.raises(InputError) as error:
        imagined(tmp_path, "parts: [{part: nose, side: left}]")
    assert codes(error.value.messages.items) == ["KN310"]
