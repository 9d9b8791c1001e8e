"""`knockon why`: three depths, JSON, and a helpful answer when the line is not there."""

from __future__ import annotations

import json
from typing import Any

import pytest
from command import Run

TAP = "examples/parked-tap/case.yaml"
UNKNOWN = "examples/mostly-unknown/case.yaml"


def words(text: str) -> str:
    return " ".join(text.split())


def test_one_sentence_gives_line_strength_reason_rule_and_facts(run_knockon: Run) -> None:
    ran = run_knockon("why", TAP, "ocs_check", "--depth", "sentence")
    assert (ran.code, ran.err) == (0, "")
    assert words(ran.out).startswith(
        "passenger seat sensor sensitivity check (empty, reference weights, empty): required"
    )
    assert "(R041; the body took a jolt (concluded)" in words(ran.out)


def test_every_rule_that_asks_for_the_line_is_shown_with_facts_and_source(run_knockon: Run) -> None:
    ran = run_knockon("why", TAP, "ocs_check")
    assert "R041 Any jolt can shift the zero" in ran.out
    assert "R042 " in ran.out
    assert "power state when hit: off (intake)" in words(ran.out)
    assert ran.out.count("source: common practice of the trade") == 2


def test_the_tree_goes_down_to_what_was_seen_with_file_and_line(run_knockon: Run) -> None:
    ran = run_knockon("why", TAP, "ocs_check", "--depth", "tree")
    assert "<- R002 " in ran.out
    assert "(rules/base/overview.yaml:13:9)" in words(ran.out)
    assert f"kind of event: hit by or against something (intake) [{TAP}:15:15]" in words(ran.out)
    assert "the body took a jolt (shown above)" in words(ran.out)


def test_assumptions_are_told_apart_from_what_was_seen(run_knockon: Run) -> None:
    ran = run_knockon("why", UNKNOWN, "ocs_check", "--depth", "tree")
    assert "load on the front passenger seat: adult (assumed)" in words(ran.out)
    assert "kind of event: hit by or against something (intake)" in words(ran.out)


@pytest.mark.parametrize("depth", ["sentence", "rules", "tree"])
def test_every_depth_fits_eighty_columns(run_knockon: Run, depth: str) -> None:
    ran = run_knockon("why", UNKNOWN, "ocs_check", "--depth", depth)
    assert all(len(line) <= 80 for line in ran.out.splitlines())


def test_json_holds_the_line_and_its_whole_tree(run_knockon: Run) -> None:
    data: dict[str, Any] = json.loads(run_knockon("why", TAP, "ocs_check", "--format", "json").out)
    assert data["line"]["id"] == "ocs_check"
    assert {b["rule"] for b in data["line"]["because"]} == {"R041", "R042"}
    assert data["tree"]["record"][:2] == ["planned", "ocs_check"]
    assert len(data["tree"]["supports"]) == 2


def test_a_possible_line_is_explained_too(run_knockon: Run) -> None:
    ran = run_knockon("why", TAP, "ocs_zero")
    assert ran.code == 0
    assert "possible" in ran.out


def test_the_operation_alone_is_enough_when_it_is_there_once(run_knockon: Run) -> None:
    assert "[ultrasonic_check.rear]" in run_knockon("why", TAP, "ultrasonic_check").out


def test_the_operation_alone_is_not_enough_when_it_is_there_twice(run_knockon: Run) -> None:
    ran = run_knockon("why", UNKNOWN, "latch_insp")
    assert (ran.code, ran.out) == (2, "")
    assert "on the plan: latch_insp.left, latch_insp.right" in words(ran.err)


@pytest.mark.parametrize(("wrong", "near"), [("ocs_chek", "ocs_check"), ("scan_prae", "scan_pre")])
def test_a_line_that_is_not_on_the_plan_is_answered_with_the_nearest_id(
    run_knockon: Run, wrong: str, near: str
) -> None:
    ran = run_knockon("why", TAP, wrong)
    assert (ran.code, ran.out) == (2, "")
    assert f"`{wrong}` is not a line of this plan" in ran.err
    assert f"did you mean `{near}`?" in ran.err
    assert f"knockon why-not {TAP} {wrong}" in words(ran.err)


def test_a_case_that_cannot_be_read_is_said(run_knockon: Run) -> None:
    ran = run_knockon("why", "no-such.yaml", "ocs_check")
    assert ran.code == 2
    assert "KN101" in ran.err
