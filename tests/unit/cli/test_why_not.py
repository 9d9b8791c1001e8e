"""`knockon why-not`: nearest rules, what they lack, the smallest change, and JSON."""

from __future__ import annotations

import json
from typing import Any

import pytest
from command import Run

TAP = "examples/parked-tap/case.yaml"


def words(text: str) -> str:
    return " ".join(text.split())


def test_nearest_rules_what_they_lack_and_the_smallest_changes(run_knockon: Run) -> None:
    ran = run_knockon("why-not", TAP, "ocs_zero")
    out = words(ran.out)
    assert (ran.code, ran.err) == (0, "")
    assert "is not on the plan; another answer could bring it in." in out
    assert "R281 The seat check failed with sound hardware lacks: " in out
    assert "SMALLEST CHANGE THAT WOULD BRING IT IN (each was run)" in out
    assert "- passenger seat sensor zero-point calibration: the procedure says required" in out


def test_a_system_that_is_not_fitted_is_the_first_thing_said(run_knockon: Run) -> None:
    out = words(run_knockon("why-not", TAP, "radar_front_aim").out)
    assert "It serves only systems that are not fitted here: front radar." in out
    assert "front radar, fitted: yes" in out


def test_a_line_that_is_there_after_all_is_left_to_why(run_knockon: Run) -> None:
    ran = run_knockon("why-not", TAP, "ocs_check")
    assert ran.code == 0
    assert "is on the plan; ask `knockon why` instead" in words(ran.out)


def test_a_place_may_be_named(run_knockon: Run) -> None:
    ran = run_knockon("why-not", TAP, "ultrasonic_check.front")
    assert ran.code == 0
    assert "(front) is not on the plan" in words(ran.out)


def test_the_text_fits_eighty_columns(run_knockon: Run) -> None:
    for operation in ("ocs_zero", "radar_front_aim", "hv_deenergise", "structure_measure"):
        assert all(len(line) <= 80 for line in run_knockon("why-not", TAP, operation).out.splitlines())


def test_json_says_the_same(run_knockon: Run) -> None:
    data: dict[str, Any] = json.loads(run_knockon("why-not", TAP, "ocs_zero", "--format", "json").out)
    assert (data["operation"], data["on_plan"], data["possible"]) == ("ocs_zero", False, True)
    assert "R281" in {miss["rule"]["id"] for miss in data["misses"]}
    assert {"result.ocs_check.": ["fail"]} in data["changes"] or {"result.ocs_check": ["fail"]} in data[
        "changes"
    ]


@pytest.mark.parametrize(
    ("wrong", "said", "near"),
    [
        ("ocs_zzero", "`ocs_zzero` is no operation", "ocs_zero"),
        ("radar_corner_cal.rear_lefft", "`rear_lefft` is no place", "rear_left"),
    ],
)
def test_a_wrong_name_is_answered_with_the_nearest(
    run_knockon: Run, wrong: str, said: str, near: str
) -> None:
    ran = run_knockon("why-not", TAP, wrong)
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert f"did you mean `{near}`?" in ran.err
