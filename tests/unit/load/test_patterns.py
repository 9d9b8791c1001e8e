"""Patterns and effects: one thing each, every name known, every option in its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from knockon.engine.model.catalogue import Test as FactTest
from knockon.engine.model.rule import Effect, Pattern
from written_pack import codes, load, problems, rule


def first(tmp_path: Path, pattern: str) -> Pattern:
    found = load(tmp_path, rule(body=f"when: [{pattern}]")).rules["T001"].when[0]
    assert isinstance(found, Pattern)
    return found


@pytest.mark.parametrize(
    ("text", "pattern"),
    [
        ("{fact: event_type, is: hail}", Pattern("fact", ("event_type",), test=FactTest("any_of", ("hail",)))),
        ("{fact: event_type, not_in: [hail]}", Pattern("fact", ("event_type",), test=FactTest("none_of", ("hail",)))),
        ("{fact: event_type, is: not_known}", Pattern("fact", ("event_type",), test=FactTest("not_known"))),
        ("{fact: area, some: true, side: $s}", Pattern("fact", ("area",), test=FactTest("some"), place="$s")),
        ("{fact: speed, at_least: 8}", Pattern("fact", ("speed",), test=FactTest("at_least", (8.0,)))),
        ("{fact: speed, below: habit.fast}", Pattern("fact", ("speed",), test=FactTest("below", (16.0,)))),
        ("{fact: built, at_least: 2012-09-01}", Pattern("fact", ("built",), test=FactTest("at_least", (20120901.0,)))),
        ("{fitted: [eye, ear]}", Pattern("fitted", ("eye", "ear"), test=FactTest("any_of", ("yes",)))),
        ("{fitted: $x}", Pattern("fitted", (), "$x", FactTest("any_of", ("yes",)))),
        (
            "{touched: any, carries: $x, actions: [rr], side: $s}",
            Pattern("touched", (), "", FactTest("any_of", ("rr",)), "carries", (), "$x", place="$s"),
        ),
        (
            "{damaged: wing}",
            Pattern("damaged", ("wing",), test=FactTest("any_of", ("deformed", "displaced", "broken", "suspected"))),
        ),
        ("{derived: d_jolt}", Pattern("derived", ("d_jolt",))),
        ("{severity: 2}", Pattern("severity", ("2",))),
        (
            "{result: any, outcome: [fail], kinds: [inspection]}",
            Pattern("result", (), test=FactTest("any_of", ("fail",)), kinds=("inspection",)),
        ),
        ("{code: eye}", Pattern("code", ("eye",), test=FactTest("any_of", ("yes",)))),
        ("{method: eye, in: [static, both]}", Pattern("method", ("eye",), test=FactTest("any_of", ("static", "both")))),
        ("{procedure: aim, verdict: [required]}", Pattern("procedure", ("aim",), test=FactTest("any_of", ("required",)))),
        ("{planned: $o, side: left}", Pattern("planned", (), "$o", place="left")),
    ],
)  # fmt: skip
def test_each_kind_of_pattern(tmp_path: Path, text: str, pattern: Pattern) -> None:
    assert first(tmp_path, text) == pattern


def test_a_number_from_a_source_remembers_which(tmp_path: Path) -> None:
    test = first(tmp_path, "{fact: speed, at_least: habit.fast}").test
    assert test is not None
    assert test.figure == "habit.fast"


@pytest.mark.parametrize(
    ("text", "code", "caret"),
    [
        ("{is: hail}", "KN210", "{is: hail}"),
        ("{fact: event_type, fitted: eye, is: hail}", "KN210", "{fact: event_type, fitted: eye, is: hail}"),
        ("{fitted: eye, actions: [rr]}", "KN211", "actions"),
        ("{touched: any, carries: eye, covers: ear}", "KN211", "{touched: any, carries: eye, covers: ear}"),
        ("{derived: $x}", "KN211", "$x"),
        ("{severity: 2, side: left}", "KN211", "side"),
        ("{fact: event_type, is: hail, side: $s}", "KN212", "$s"),
        ("{fact: area}", "KN213", "{fact: area}"),
        ("{fact: area, any_of: [front], some: true}", "KN213", "{fact: area, any_of: [front], some: true}"),
        ("{fact: speed, is: 8}", "KN213", "{fact: speed, is: 8}"),
        ("{fact: event_type, at_least: 8}", "KN213", "{fact: event_type, at_least: 8}"),
        ("{fact: speed, at_least: fast}", "KN213", "fast"),
        ("{fact: speed, at_least: habit.slow}", "KN214", "habit.slow"),
        ("{fact: event_type, in: [hail, rain]}", "KN201", "rain"),
        ("{fact: lost, any_of: [nose]}", "KN201", "nose"),
        ("{fitted: [eye, nose]}", "KN201", "nose"),
        ("{touched: tail}", "KN201", "tail"),
        ("{touched: nose, actions: [rr, paint]}", "KN201", "paint"),
        ("{damaged: nose, states: [bent]}", "KN201", "bent"),
        ("{touched: nose, carries: tail}", "KN201", "tail"),
        ("{touched: nose, side: above}", "KN201", "above"),
        ("{derived: d_jolts}", "KN201", "d_jolts"),
        ("{result: polish}", "KN201", "polish"),
        ("{result: look, outcome: [good]}", "KN201", "good"),
        ("{result: any, kinds: [polishing]}", "KN201", "polishing"),
        ("{method: eye}", "KN213", "{method: eye}"),
        ("{method: eye, in: [magic]}", "KN201", "magic"),
        ("{procedure: aim}", "KN213", "{procedure: aim}"),
        ("{procedure: aim, verdict: [perhaps]}", "KN201", "perhaps"),
        ("{any: [[{fitted: eye}]], fact: area, some: true}", "KN210", "{any"),
        ("{any: [[{fitted: eey}]]}", "KN201", "eey"),
    ],
)
def test_what_is_wrong_in_a_pattern_is_pointed_at(tmp_path: Path, text: str, code: str, caret: str) -> None:
    messages = problems(tmp_path, rule(body=f"when: [{text}]"))
    assert codes(messages) == [code]
    span = messages[0].culprits[0].span
    line = Path(span.file).read_text().splitlines()[span.line - 1]
    assert line[span.column - 1 :].startswith(caret)
    assert messages[0].next_step or messages[0].nearest


@pytest.mark.parametrize(
    ("then", "effect"),
    [
        ("{plan: [look, sign]}", Effect("plan", ("look", "sign"))),
        ("{plan: aim, side: all}", Effect("plan", ("aim",), "all")),
        ("{conclude: d_jolt}", Effect("conclude", ("d_jolt",))),
        ("{severity: 3}", Effect("severity", ("3",))),
        ("{hold: look, side: front}", Effect("hold", ("look",), "front")),
        ("{fits: eye}", Effect("fits", ("eye",))),
    ],
)
def test_each_kind_of_effect(tmp_path: Path, then: str, effect: Effect) -> None:
    (found,) = load(tmp_path, rule(then=then)).rules["T001"].then
    assert (found.verb, found.subjects, found.place) == (effect.verb, effect.subjects, effect.place)


@pytest.mark.parametrize(
    ("then", "code"),
    [
        ("{side: left}", "KN215"),
        ("{plan: look, hold: look}", "KN215"),
        ("{plan: aim}", "KN216"),
        ("{conclude: d_corner}", "KN216"),
        ("{plan: polish}", "KN201"),
        ("{conclude: look}", "KN201"),
        ("{fits: nose}", "KN201"),
        ("{plan: aim, side: above}", "KN201"),
        ("{severity: 2, side: left}", "KN211"),
    ],
)
def test_what_is_wrong_in_an_effect(tmp_path: Path, then: str, code: str) -> None:
    assert codes(problems(tmp_path, rule(then=then))) == [code]
