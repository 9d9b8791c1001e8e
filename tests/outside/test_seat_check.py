"""Seat sensor sensitivity check: figures that are common practice in the trade (no published source)."""

from __future__ import annotations

import pytest
from knockon.engine.measure.reading import Limit, Reading
from knockon.engine.measure.seat import LoadStep, SeatCheck, SeatFinding, assess
from knockon.engine.measure.verdict import Outcome
from knockon.engine.measure.weights import ReferenceWeight, stack
from knockon.engine.render.strip import strip

# common practice: three 10 kg weights; empty -7 to +7 lb; with the weights 59 to 73 lb
WEIGHTS = (ReferenceWeight(10, "kg", 3, "M1"),)
EMPTY = Limit(-7, 7, "lb", "common practice")
BAND = Limit(59, 73, "lb", "common practice")
# common practice: the empty reading bounces; before a jolt by hand on the parked car, key out, and after it
BEFORE = Reading(0.15, 0.45, None, "lb")
AFTER = Reading(-2.56, -2.25, None, "lb")


@pytest.fixture
def finding() -> SeatFinding:
    load = LoadStep(WEIGHTS, Reading(63.5, 63.9, None, "lb"), BAND)
    return assess(SeatCheck(AFTER, EMPTY, (load,), Reading(-2.5, -2.3, None, "lb"), earlier=BEFORE))


def test_30_kg_is_the_middle_of_the_band() -> None:
    placed = stack(WEIGHTS, "lb")
    assert placed.mass == pytest.approx(30 / 0.45359237, rel=1e-12)
    assert placed.mass == pytest.approx(66.1, abs=0.05)
    assert placed.mass == pytest.approx((59 + 73) / 2, abs=0.15)


def test_the_shifted_seat_is_within(finding: SeatFinding) -> None:
    assert finding.outcome is Outcome.WITHIN
    assert finding.empty.margin_low == pytest.approx(4.44)
    assert finding.patterns == ()


def test_the_drift_is_reported_all_the_same(finding: SeatFinding) -> None:
    assert finding.drift is not None
    assert finding.drift.shift == pytest.approx(-2.7, abs=0.05)
    assert finding.drift.clear
    assert "clearly shifted and is still within tolerance" in finding.drift.sentence
    assert finding.drift.sentence in finding.notes


def test_the_check_was_required_and_the_zero_calibration_is_not(finding: SeatFinding) -> None:
    assert "the required check is done" in finding.calls_for[0]
    assert "zero calibration is not required by this result" in finding.calls_for[1]
    assert finding.zero_can_cure is None


def test_tolerance_of_the_weights_is_nothing_beside_the_band(finding: SeatFinding) -> None:
    share = finding.loads[0].weight_share
    assert share is not None
    assert share < 0.001


def test_the_same_check_in_kilograms_gives_the_same_verdict() -> None:
    load = LoadStep(WEIGHTS, Reading(63.5, 63.9, None, "lb").to("kg"), BAND)
    check = SeatCheck(AFTER.to("kg"), EMPTY, (load,), AFTER.to("kg"), earlier=BEFORE)
    found = assess(check)
    assert found.outcome is Outcome.WITHIN
    assert found.unit == "kg"
    assert found.drift is not None
    assert found.drift.shift == pytest.approx(-2.705 * 0.45359237)


def test_the_strip_shows_the_shift_inside_the_limits() -> None:
    assert strip(EMPTY, BEFORE, AFTER, 60) == "-7         [··········##·····oo···············]         7 lb"
