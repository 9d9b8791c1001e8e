"""Catalogues of a stack of packs: merged, ids once only, names inside them looked up."""

from __future__ import annotations

from pathlib import Path

import pytest
from knockon.engine.diagnostics.message import InputError
from knockon.engine.load.pack import load_program
from knockon.engine.load.values import number
from knockon.engine.model.catalogue import Assumption
from knockon.engine.model.catalogue import Test as FactTest
from written_pack import WORDS, codes, load, problems, write


def test_entries_become_what_they_say(tmp_path: Path) -> None:
    program = load(tmp_path)
    assert program.facts["event_type"].values == {"collision": "hit", "hail": "hail", "none": "nothing"}
    assert program.facts["area"].places == {"front": "front", "rear": "rear", "top": ""}
    assert program.facts["lost"].values == {"*": "a system"}
    assert program.facts["towed"].assume == (
        Assumption(("yes",), (("event_type", FactTest("any_of", ("collision",))),)),
        Assumption(("no",)),
    )
    assert program.operations["aim"].after == ("look",)
    assert program.sources["habit"].figures["fast"].value == 16
    assert program.facts["event_type"].span.line == 2


@pytest.mark.parametrize(
    ("part", "places"),
    [
        ("nose", ("front",)),
        ("wing", ("front_left", "front_right")),
        ("wheel", ("front_left", "front_right", "rear_left", "rear_right")),
        ("seat", ("left", "right")),
    ],
)
def test_sides_and_end_make_the_places_of_a_part(tmp_path: Path, part: str, places: tuple[str, ...]) -> None:
    assert load(tmp_path).parts[part].places == places


@pytest.mark.parametrize(
    ("old", "new", "nearest"),
    [
        ("carries: [eye]", "carries: [eey]", "eye"),
        ("zones: [f1]", "zones: [f2]", ""),
        ("systems: [eye], per: vehicle", "systems: [hand], per: vehicle", ""),
        ("phase: last", "phase: lasst", "last"),
        ("after: [look]", "after: [loook]", "look"),
        ("void_by: [ev_jolt]", "void_by: [ev_jolts]", "ev_jolt"),
        ("answers: {towed: yes}", "answers: {towd: yes}", "towed"),
        ("answers: {towed: yes}", "answers: {towed: often}", ""),
        ("scope: vehicle, answers", "scope: vehicle, part: nos, answers", "nose"),
        ("assume: collision, clear", "assume: colision, clear", "collision"),
        ("when: [{fact: event_type, is: collision}]}, {value", "when: [{fact: event_typ, is: collision}]}, {value",
         "event_type"),
        ("when: [{fact: event_type, is: collision}]}, {value", "when: [{fact: event_type, is: colision}]}, {value",
         "collision"),
        ("facts: {event_type: collision}", "facts: {event_type: colision}", "collision"),
        ("facts: {event_type: collision}", "facts: {event_typ: collision}", "event_type"),
        ("{fact: event_type, is: hail}", "{fact: event_type, is: hial}", "hail"),
    ],
)  # fmt: skip
def test_a_wrong_name_inside_a_catalogue_is_found_with_the_nearest(
    tmp_path: Path, old: str, new: str, nearest: str
) -> None:
    assert WORDS.count(old) == 1
    messages = problems(tmp_path, words=WORDS.replace(old, new))
    assert codes(messages) == ["KN201"]
    assert messages[0].nearest == nearest
    assert messages[0].culprits[0].span.file.endswith("words.yaml")


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        (
            "unit: km/h, section: [scan], who: [scan_tech], assume: nothing",
            "unit: km/h, section: [scan], who: [scan_tech], assume: soon",
            "KN304",
        ),
        ("when: [{fact: event_type, is: collision}]}, {value", "when: [{fitted: eye}]}, {value", "KN210"),
        (
            "when: [{fact: event_type, is: collision}]}, {value",
            "when: [{fact: speed, at_least: soon}]}, {value",
            "KN213",
        ),
        ("when: [{fact: event_type, is: collision}]}, {value", "if: hail}, {value", "KN110"),
    ],
)
def test_an_assumption_is_held_to_the_grammar_of_rules(tmp_path: Path, old: str, new: str, code: str) -> None:
    assert WORDS.count(old) == 1
    assert codes(problems(tmp_path, words=WORDS.replace(old, new))) == [code]


def test_an_assumption_may_use_a_figure_of_a_source(tmp_path: Path) -> None:
    old, new = (
        "when: [{fact: event_type, is: collision}]}, {value",
        "when: [{fact: speed, at_least: habit.fast}]}, {value",
    )
    program = load(tmp_path, words=WORDS.replace(old, new))
    assert program.facts["towed"].assume[0].when == (("speed", FactTest("at_least", (16.0,))),)


def test_an_id_of_a_lower_pack_cannot_be_taken_again(tmp_path: Path) -> None:
    below = write(tmp_path / "below", name="below")
    above = write(
        tmp_path / "above",
        words="systems: {eye: {title: e, does: looks, area: body}}\n",
        name="above",
        below="below",
    )
    with pytest.raises(InputError) as refused:
        load_program([below, above])
    (message,) = refused.value.messages
    assert message.code == "KN202"
    assert [c.label for c in message.culprits] == ["again here", "first here"]
    assert [Path(c.span.file).parent.name for c in message.culprits] == ["above", "below"]


def test_assumptions_that_rest_on_each_other_are_refused_with_the_ring(tmp_path: Path) -> None:
    turned = WORDS.replace(
        "assume: collision, clear: none",
        "clear: none, assume: [{value: hail, when: [{fact: towed, is: no}]}, {value: collision}]",
    )
    (first, *_) = problems(tmp_path, words=turned)
    assert first.code == "KN232"
    assert "event_type -> towed -> event_type" in first.text


def test_operations_that_wait_for_each_other_are_refused_with_every_place(tmp_path: Path) -> None:
    ring = WORDS.replace("phase: work, void_by", "phase: work, after: [aim], void_by")
    (message,) = problems(tmp_path, words=ring)
    assert message.code == "KN230"
    assert "look -> aim -> look" in message.text or "aim -> look -> aim" in message.text
    assert len(message.culprits) == 2


def test_an_operation_may_wait_for_a_whole_kind(tmp_path: Path) -> None:
    program = load(
        tmp_path,
        words=WORDS.replace("phase: last}\nevents", "phase: last, after_kinds: [inspection]}\nevents"),
    )
    assert program.operations["sign"].after == ("*inspection",)


@pytest.mark.parametrize(("text", "value"), [(3, 3.0), ("3.5", 3.5), ("2026-11-16", 20261116.0)])
def test_numbers_and_dates_are_both_numbers(text: object, value: float) -> None:
    assert number(text) == value


@pytest.mark.parametrize("text", [True, "soon", "", None, [1]])
def test_what_is_no_number_is_refused(text: object) -> None:
    with pytest.raises((ValueError, TypeError)):
        number(text)
