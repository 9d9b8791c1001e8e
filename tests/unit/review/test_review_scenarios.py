"""Every way in which a scenario can fall short, and what coverage counts."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from knockon.engine.infer.lacking import BLOCKED, UNMET
from knockon.engine.model.program import Program
from knockon.engine.render.plain import Page
from knockon.engine.render.trial import trial_data, trial_text
from knockon.engine.review.scenarios import Trial, try_scenarios

Tiny = Callable[..., Program]
BLOW = "given: {facts: {event_type: collision}, fitted: [eye]}"
WET = (
    "given: {facts: {event_type: collision, wet: yes, area: [front]}, fitted: [eye],"
    " parts: [{part: nose, actions: [rr]}]}"
)
BARE = "given: {facts: {event_type: collision}}"


def trial(tiny: Tiny, *scenarios: str) -> Trial:
    lines = "".join(f"  - {{name: scenario {i}, {s}}}\n" for i, s in enumerate(scenarios))
    return try_scenarios(tiny(scenarios=lines))


def test_what_comes_as_stated_passes(tiny: Tiny) -> None:
    found = trial(
        tiny,
        f"{BLOW}, fires: [T001, T002], nearly: {{T003: the nose stayed}}, must: {{look: required}}",
        f"{BLOW}, plan_is: {{required: [look]}}, severity: 0",
        f"{WET}, must: [look, wipe.front], must_not: {{wipe.rear: dry there}}, held: {{aim: T006}}",
    )
    assert [v.shortfalls for v in found.verdicts] == [(), (), ()]


T002 = ("T002",)
FALLS = [
    (f"{BLOW}, must: {{aim: required}}", "missing", "aim", "required", "nothing", ()),
    (f"{BLOW}, must: {{look: check_whether}}", "strength", "look", "check_whether", "required", ("T002",)),
    (
        "given: {facts: {event_type: collision}}, must: [look]",
        "missing",
        "look",
        "",
        "not fitted: eye",
        ("T002",),
    ),
    (f"{BLOW}, must_not: {{look: why}}", "extra", "look", "", "required", ("T002",)),
    (f"{WET}, must_not: {{wipe: why}}", "extra", "wipe", "", "required", ("T004",)),
    (f"{BLOW}, fires: [T003]", "not_fired", "T003", "fires", "lacks 1", ()),
    (f"{BLOW}, nearly: {{T002: why}}", "fired", "T002", "lacks 1", "fires", ("T002",)),
    ("given: {}, nearly: {T003: why}", "not_near", "T003", "lacks 1", "lacks 2", ()),
    (f"{BLOW}, held: {{aim: T006}}", "not_held", "aim", "by T006", "nothing", ()),
    (f"{WET}, held: {{aim: T002}}", "not_held", "aim", "by T002", "by T006", ("T006",)),
    (f"{WET}, void: {{aim: T006}}", "not_void", "aim", "by T006", "nothing", ()),
    (f"{BLOW}, severity: 2", "severity", "severity", "2", "0", ()),
    (f"{BLOW}, plan_is: {{required: [aim, look]}}", "whole_plan", "aim", "required", "nothing", ()),
    (
        f"{BLOW}, plan_is: {{check_whether: [look]}}",
        "whole_plan",
        "look",
        "check_whether",
        "required",
        ("T002",),
    ),
    (f"{BLOW}, fires: [T999]", "unknown", "T999", "an active rule", "", ()),
    (f"{BLOW}, must: [gaze]", "unknown", "gaze", "an operation", "", ()),
]


@pytest.mark.parametrize(("scenario", "kind", "subject", "expected", "got", "rules"), FALLS)
def test_each_kind_of_shortfall(
    tiny: Tiny, scenario: str, kind: str, subject: str, expected: str, got: str, rules: tuple[str, ...]
) -> None:
    found = trial(tiny, scenario)
    first = found.verdicts[0].shortfalls[0]
    assert (first.kind, first.subject, first.expected, first.got, first.rules) == (
        kind,
        subject,
        expected,
        got,
        rules,
    )
    assert not found.verdicts[0].passed


def test_a_missing_line_shows_the_nearest_rules_and_what_they_lack(tiny: Tiny) -> None:
    near = trial(tiny, f"{BLOW}, must: [aim]").verdicts[0].shortfalls[0].near
    assert [n.rule.id for n in near] == ["T003"]
    assert [(lack.kind, lack.patterns[0].kind) for lack in near[0].lacks] == [(UNMET, "touched")]


def test_a_blocking_condition_is_told_apart(tiny: Tiny) -> None:
    shortfall = trial(tiny, f"{WET}, fires: [T005]").verdicts[0].shortfalls[0]
    assert [(lack.kind, lack.patterns[0].subjects) for lack in shortfall.near[0].lacks] == [
        (BLOCKED, ("d_jolt",))
    ]


def test_what_unconditional_rules_ask_for_need_not_be_written_out(tiny: Tiny) -> None:
    assert trial(tiny, f"{BLOW}, plan_is: {{required: [look, sign]}}").verdicts[0].passed
    assert trial(tiny, f"{BLOW}, plan_is: {{required: [look]}}").verdicts[0].passed


def test_a_scenario_that_cannot_be_read_is_a_verdict_and_stops_nothing(tiny: Tiny) -> None:
    found = trial(tiny, "given: {facts: {no_such: yes}}", f"{BLOW}, must: [look]")
    assert [v.passed for v in found.verdicts] == [False, True]
    assert found.verdicts[0].messages is not None


def test_coverage_counts_rules_and_conditions_by_id(tiny: Tiny) -> None:
    found = trial(tiny, BLOW, BLOW, "given: {facts: {wet: yes}}")
    by_rule = {r.rule.id: r for r in found.coverage}
    assert (by_rule["T002"].state, by_rule["T002"].fired, by_rule["T002"].nearly) == ("fired", 2, 1)
    assert (by_rule["T003"].state, by_rule["T003"].fired, by_rule["T003"].nearly) == ("nearly", 0, 2)
    assert [(c.id, c.fired, c.nearly) for c in by_rule["T005"].conditions] == [
        ("T005 when.1", 1, 0),
        ("T005 unless.1", 1, 0),
    ]
    assert [(c.id, c.nearly) for c in by_rule["T003"].conditions] == [("T003 when.1", 2), ("T003 when.2", 0)]
    assert by_rule["T000"].conditions == ()


def test_choices_are_conditions_of_their_own(tiny: Tiny) -> None:
    when = "{any: [[{fact: wet, is: yes}], [{touched: nose}, {derived: d_jolt}]]}"
    either = f"title: Either, when: [{when}], then: [{{plan: aim}}]"
    scenarios = "  - {name: one, given: {facts: {wet: yes}, fitted: [eye]}}\n"
    conditions = try_scenarios(tiny(scenarios=scenarios, T003=either)).coverage[3].conditions
    assert [c.id for c in conditions] == ["T003 when.1.1", "T003 when.1.2.1", "T003 when.1.2.2"]
    assert [c.fired for c in conditions] == [1, 0, 0]


def test_the_report_fits_and_the_data_holds_the_same(tiny: Tiny) -> None:
    program = tiny(scenarios=f"  - {{name: {'long ' * 40}, {BLOW}, must: [aim], fires: [T006]}}\n")
    found = try_scenarios(program)
    text = trial_text(found, program, Page(80), every=True)
    assert max(map(len, text.splitlines())) <= 80
    assert "aim is not on the plan" in text
    assert "lacks 1 condition" in text
    assert "T003 when.1" in text
    data = trial_data(found)
    assert [s["kind"] for s in data["scenarios"][0]["shortfalls"]] == ["not_fired", "missing"]
    assert {c["rule"]: c["state"] for c in data["coverage"]}["T003"] == "nearly"
