"""Why a line is not there, and the smallest change of facts that would bring it in."""

from __future__ import annotations

from collections.abc import Callable

from knockon.engine.explain.facts import Evidence
from knockon.engine.explain.whynot import Change, why_not
from knockon.engine.model.record import replace
from knockon.engine.plan.build import evidence_of

Example = Callable[[str], Evidence]
Told = Callable[..., Evidence]


def yes(*slot: str) -> Change:
    return {slot: frozenset(("yes",))}


def test_a_line_on_the_plan_is_said_to_be_there(example: Example) -> None:
    answer = why_not(example("parked-tap"), "ocs_check")
    assert (answer.on_plan, answer.possible) == (True, False)


def test_the_nearest_rule_comes_first_with_what_it_lacks(example: Example) -> None:
    answer = why_not(example("parked-tap"), "ocs_zero")
    assert not answer.on_plan
    assert answer.possible
    lacking = [len(m.fails) + len(m.blocked) for m in answer.misses]
    assert lacking == sorted(lacking)
    assert lacking[0] == 1


def test_the_smallest_changes_are_answers_a_person_can_check(example: Example) -> None:
    changes = why_not(example("parked-tap"), "ocs_zero").changes
    assert {("result", "ocs_check", ""): frozenset(("fail",))} in changes
    assert {("procedure", "ocs_zero"): frozenset(("required",))} in changes


def test_a_system_that_is_not_fitted_is_named_and_part_of_every_change(example: Example) -> None:
    answer = why_not(example("parked-tap"), "radar_front_aim")
    assert answer.not_fitted == ("radar_front",)
    assert answer.changes
    assert all(("fitted", "radar_front") in change for change in answer.changes)


def test_what_a_rule_took_off_says_which_rule(told: Told) -> None:
    cushion = {"part": "seat_cushion_pass", "actions": ["rr"]}
    evidence = told(fitted=["ocs_bladder"], parts=[cushion], results={"ocs_check": "pass"})
    answer = why_not(evidence, "ocs_zero")
    assert answer.dropped is not None
    assert {evidence.by_id[f.alternative].rule.id for f in answer.dropped.dropped} == {"R295"}


def test_no_change_contradicts_the_case(told: Told) -> None:
    evidence = told(
        {"event_type": "collision", "area": ["rear"], "vehicle_state": "parked_unattended"},
        fitted=["belt_rear"],
    )
    for operation in ("belt_insp", "belt_replace", "seat_insp", "child_anchor_insp"):
        for change in why_not(evidence, operation).changes:
            assert change.get(("fact", "occupant_injury")) != {"yes"}
            assert not change.get(("fact", "pass_seat_load"), frozenset()) & {"adult", "child"}


def test_a_place_asks_for_that_side_only(example: Example) -> None:
    evidence = example("door-hit")
    assert why_not(evidence, "side_sensor_insp", "right").on_plan
    answer = why_not(evidence, "side_sensor_insp", "left")
    assert not answer.on_plan
    assert answer.changes


def test_a_rule_a_higher_pack_withdrew_is_named(told: Told) -> None:
    evidence = told()
    withdrawn = replace(evidence.program.rules["R041"], id="M001", pack="maker", withdraws="R041", then=())
    program = replace(evidence.program, overridden={"R041": withdrawn})
    answer = why_not(evidence_of(program, evidence.case, alone=True), "ocs_check")
    assert [(id_, rule.pack) for id_, rule in answer.overridden] == [("R041", "maker")]
