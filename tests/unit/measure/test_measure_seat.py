"""Seat checks: what was taken, what is missing, and what the pattern calls for."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.measure.drift import drift
from knockon.engine.measure.figures import ReadingError
from knockon.engine.measure.reading import Limit, Reading, Uncertainty
from knockon.engine.measure.seat import LoadStep, SeatCheck, assess
from knockon.engine.measure.seat_pattern import Pattern
from knockon.engine.measure.verdict import Outcome
from knockon.engine.measure.weights import ReferenceWeight, permissible_error, stack
from knockon.engine.model.record import replace

# invented figures
ZERO = Limit(-3, 3, "kg", "procedure")
BAND = Limit(27, 33, "kg", "procedure")
WEIGHTS = (ReferenceWeight(10, "kg", 3, "M1"),)


def around(value: float, unit: str = "kg") -> Reading:
    return Reading(value - 0.1, value + 0.1, 10, unit)


def check(empty: float, load: float, back: float) -> SeatCheck:
    return SeatCheck(around(empty), ZERO, (LoadStep(WEIGHTS, around(load), BAND),), around(back))


@pytest.mark.parametrize(
    ("empty", "load", "back", "outcome", "shape", "cure"),
    [
        (0.2, 30.1, 0.2, Outcome.WITHIN, (), None),
        (5, 35, 5, Outcome.OUTSIDE, (Pattern.OFFSET,), True),
        (2.5, 33.5, 2.5, Outcome.OUTSIDE, (Pattern.OFFSET,), True),  # only the load shows it
        (-5, 28, -5, Outcome.OUTSIDE, (Pattern.OFFSET,), True),
        (0, 25, 0, Outcome.OUTSIDE, (Pattern.GAIN,), False),
        (5, 40, 5, Outcome.OUTSIDE, (Pattern.OFFSET, Pattern.GAIN), False),
        (0, 30, 6, Outcome.OUTSIDE, (Pattern.RETURN,), False),
        (5, 35, 0, Outcome.OUTSIDE, (Pattern.OFFSET, Pattern.RETURN), False),
        (0.05, 33.15, 0, Outcome.OUTSIDE, (Pattern.UNCLEAR,), None),
        (3, 30, 0, Outcome.NOT_CONCLUSIVE, (), None),
    ],
)
def test_patterns(
    empty: float, load: float, back: float, outcome: Outcome, shape: tuple[Pattern, ...], cure: bool | None
) -> None:
    found = assess(check(empty, load, back))
    assert found.outcome is outcome
    assert found.patterns == shape
    assert found.zero_can_cure is cure
    assert found.calls_for


def test_an_offset_asks_for_an_empty_seat_first_then_the_zero_then_the_weights_again() -> None:
    first, second = assess(check(5, 35, 5)).calls_for
    assert "nothing lies on, under or against the seat" in first
    assert "zero calibration" in second
    assert "whole check again with the weights" in second


@pytest.mark.parametrize(("empty", "load", "back"), [(5, 40, 5), (5, 35, 0)])
def test_no_zero_calibration_over_a_fault_it_would_hide(empty: float, load: float, back: float) -> None:
    found = assess(check(empty, load, back))
    assert found.calls_for[-1] == "no zero calibration before that is found and put right"
    assert not any(line.startswith("zero calibration") for line in found.calls_for)


def test_an_offset_that_makes_up_for_a_gain_error_is_brought_to_light() -> None:
    found = assess(check(-2.5, 32, -2.5))
    assert found.outcome is Outcome.WITHIN
    assert any("only together with the zero offset" in note for note in found.notes)
    assert not any("only together" in note for note in assess(check(0, 30, 0)).notes)


def test_figures_of_a_load() -> None:
    load = assess(check(0.5, 31, 0.7)).loads[0]
    assert load.error == pytest.approx(1)
    assert load.net == pytest.approx(30.5)
    assert load.span_error == pytest.approx(0.5)
    assert load.span_percent == pytest.approx(100 * 0.5 / 30)
    assert load.weight_share == pytest.approx(0.0015 / 3)
    assert assess(check(0.5, 31, 0.7)).return_error == pytest.approx(0.2)


@given(st.floats(-2, 2), st.floats(28, 31), st.floats(-2, 2))
def test_span_error_does_not_depend_on_the_zero_offset(zero: float, load: float, move: float) -> None:
    a = assess(check(zero, load, zero)).loads[0].span_error
    b = assess(check(zero + move, load + move, zero + move)).loads[0].span_error
    assert a == pytest.approx(b, abs=1e-9)


def test_a_step_left_out_is_never_within() -> None:
    whole = check(0, 30, 0)
    for part, asked in (
        (replace(whole, loads=()), "place the reference weights"),
        (replace(whole, returned=None), "take the weights off"),
        (replace(whole, empty_limit=None), "look up the limit"),
        (replace(whole, loads=(replace(whole.loads[0], band=None),)), "look up the limit"),
    ):
        found = assess(part)
        assert found.outcome is Outcome.NOT_CONCLUSIVE
        assert any(asked in line for line in found.calls_for)


def test_an_empty_reading_out_of_limits_is_outside_even_when_the_check_was_broken_off() -> None:
    found = assess(SeatCheck(around(6), ZERO))
    assert found.outcome is Outcome.OUTSIDE
    assert any("place the reference weights" in line for line in found.calls_for)


def test_a_display_in_counts_gives_verdicts_but_no_span() -> None:
    zero, band = Limit(-20, 20, "count", "procedure"), Limit(180, 220, "count", "procedure")
    step = LoadStep(WEIGHTS, around(200, "count"), band)
    found = assess(SeatCheck(around(1, "count"), zero, (step,), around(1, "count")))
    assert found.outcome is Outcome.WITHIN
    assert found.loads[0].span_error is None
    assert "no span error" in found.notes[0]


def test_two_displays_in_one_check_are_refused() -> None:
    mixed = SeatCheck(
        around(1, "count"), Limit(-20, 20, "count", "x"), (LoadStep(WEIGHTS, around(30), BAND),)
    )
    with pytest.raises(ReadingError, match="empty reading is in count"):
        assess(mixed)


def test_the_uncertainty_of_the_display_guards_every_step() -> None:
    found = assess(replace(check(2.5, 30, 0), uncertainty=Uncertainty(1, "kg")))
    assert found.empty.outcome is Outcome.NOT_CONCLUSIVE
    assert found.loads[0].judgement.outcome is Outcome.WITHIN
    near = assess(replace(check(0, 32.5, 2.5), uncertainty=Uncertainty(1, "kg")))
    assert near.loads[0].judgement.outcome is Outcome.NOT_CONCLUSIVE
    assert near.returned is not None
    assert near.returned.outcome is Outcome.NOT_CONCLUSIVE


@pytest.mark.parametrize(
    ("before", "now", "clear", "part"),
    [
        (0.0, 0.1, False, "no shift is shown"),
        (0.0, 2.0, True, "still within tolerance"),
        (0.0, 5.0, True, "now out of tolerance"),
        (0.0, 3.0, True, "not settled"),
    ],
)
def test_drift_says_what_it_means(before: float, now: float, clear: bool, part: str) -> None:
    found = drift(around(before), around(now), ZERO, what="empty reading", since="delivery")
    assert found.clear is clear
    assert part in found.sentence
    assert found.least <= found.shift <= found.most


def test_weights_mixed_and_unmarked() -> None:
    placed = stack([ReferenceWeight(10, "kg", 2, "M1"), ReferenceWeight(5, "kg", 2, "M2")], "kg")
    assert (placed.mass, placed.number) == (30, 4)
    assert placed.worst == pytest.approx(2 * 0.0005 + 2 * 0.0008)
    unmarked = stack([ReferenceWeight(22, "lb", 3)], "kg")
    assert unmarked.worst is None
    step = LoadStep((ReferenceWeight(22, "lb", 3),), around(30), BAND)
    found = assess(SeatCheck(around(0), ZERO, (step,), around(0)))
    assert any("tolerance of the weights is not known" in note for note in found.notes)


@pytest.mark.parametrize(
    ("nominal", "unit", "number", "weight_class", "part"),
    [
        (10, "kg", 3, "m1", "did you mean M1"),
        (10, "kg", 0, None, "number of weights"),
        (-1, "kg", 1, None, "cannot be"),
        (10, "N", 1, None, "cannot be compared"),
    ],
)
def test_weights_that_cannot_be(
    nominal: float, unit: str, number: int, weight_class: str | None, part: str
) -> None:
    with pytest.raises(ReadingError, match=part):
        ReferenceWeight(nominal, unit, number, weight_class)


@pytest.mark.parametrize(("nominal", "unit", "name"), [(7, "kg", "M1"), (22, "lb", "M1"), (10, "kg", "M1-2")])
def test_no_limit_is_made_up_for_a_weight_outside_the_table(nominal: float, unit: str, name: str) -> None:
    with pytest.raises(ReadingError, match="OIML R 111 has no limit here"):
        permissible_error(nominal, unit, name)


def test_a_load_without_weights_is_refused() -> None:
    with pytest.raises(ReadingError, match="no reference weight"):
        stack([], "kg")
