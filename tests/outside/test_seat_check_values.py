"""The seat check of common practice, from a case file to the plan: figures without a published source."""

from __future__ import annotations

import pytest
from knockon.engine.model.plan import Line, Plan
from knockon.engine.model.program import Program
from knockon.engine.plan.build import make_plan
from knockon.engine.render.strip import strip_of
from written import procedure, read, written

# common practice: three 10 kg weights; empty -7 to +7 lb, with the weights 59 to 73 lb
LIMITS = "{empty: {low: -7, high: 7, unit: lb}, loaded: {low: 59, high: 73, unit: lb}}"
PROCEDURES = procedure("ocs_check_early", LIMITS) + procedure("ocs_check", LIMITS)
# before a jolt, and after one by hand on the parked car, key out
JOLT = """
    - {at: 2026-03-03, did: ocs_check_early, readings: {empty: {low: 0.15, high: 0.45, unit: lb}}}
    - {at: 2026-03-04, event: ev_impact, note: "by hand, parked, key out"}
    - {at: 2026-03-05, did: ocs_check_early, readings: {empty: {low: -2.56, high: -2.25, unit: lb}}}
"""
WHOLE = """
    - at: 2026-03-06
      did: ocs_check
      readings:
        empty: {low: -2.56, high: -2.25, unit: lb}
        loaded: {low: 63.5, high: 63.9, unit: lb, weights: {nominal: 10, unit: kg, number: 3, class: M1}}
        returned: {low: -2.56, high: -2.25, unit: lb}
"""


@pytest.fixture
def shifted(program: Program) -> Plan:
    return make_plan(program, read(written(JOLT, PROCEDURES), program), with_questions=False)


def line(plan: Plan, id_: str) -> Line:
    found = plan.line(id_)
    assert found is not None
    return found


def test_the_shifted_seat_is_within_and_the_drift_is_told(shifted: Plan) -> None:
    result = line(shifted, "ocs_check_early").results[-1]
    assert result.outcome == "pass"
    assert result.readings[0].verdict == "within"
    assert "moved by -2.705 lb since the reading of 2026-03-03" in result.remarks[0]
    assert "clearly shifted and is still within tolerance" in result.remarks[0]


def test_the_check_is_still_required_and_the_zero_calibration_is_not(shifted: Plan) -> None:
    check = line(shifted, "ocs_check")
    assert (check.strength, check.standing, check.progress) == ("required", "firm", "open")
    zero = shifted.line("ocs_zero")
    assert zero is None or zero.standing == "possible"


def test_the_strip_shows_where_it_was_and_where_it_is(shifted: Plan) -> None:
    drawn = strip_of(line(shifted, "ocs_check_early").results[-1].readings[0], 60)
    assert drawn == "-7         [··········##·····oo···············]         7 lb"


def test_the_whole_check_passes_and_30_kg_are_the_middle_of_the_band(program: Program) -> None:
    plan = make_plan(program, read(written(JOLT.rstrip() + WHOLE, PROCEDURES), program), with_questions=False)
    result = line(plan, "ocs_check").results[-1]
    assert line(plan, "ocs_check").progress == "passed"
    assert "load 1: 66.1387 lb placed, within 0.0033 lb" in result.remarks
    assert pytest.approx((59 + 73) / 2, abs=0.15) == 30 / 0.45359237
    assert any(
        "the zero calibration is not required" in r or "zero calibration is not required" in r
        for r in result.remarks
    )
    zero = plan.line("ocs_zero")
    assert zero is None or zero.standing == "possible"
