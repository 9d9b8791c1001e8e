"""The decision rule at, inside, across and beyond the limits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.measure.figures import ReadingError
from knockon.engine.measure.reading import Limit, Reading, Uncertainty
from knockon.engine.measure.verdict import Outcome, conformance_probability, judge

LIMIT = Limit(-7, 7, "lb", "procedure")
W, X, N = Outcome.WITHIN, Outcome.OUTSIDE, Outcome.NOT_CONCLUSIVE


@pytest.mark.parametrize(
    ("low", "high", "outcome"),
    [(-7, 7, W), (-1, 1, W), (7, 7.01, N), (7.01, 8, X), (-8, -7.5, X), (-8, -7, N), (-9, 9, N)],
)
def test_simple_acceptance(low: float, high: float, outcome: Outcome) -> None:
    verdict = judge(Reading(low, high, 5, "lb"), LIMIT)
    assert verdict.outcome is outcome
    assert verdict.reason
    assert verdict.next_step
    assert verdict.probability is None
    assert verdict.rule.startswith("simple acceptance")


def test_margins_run_to_each_limit() -> None:
    verdict = judge(Reading(-2.56, -2.25, 5, "lb"), LIMIT)
    assert (verdict.margin_low, verdict.margin_high) == (4.44, 9.25)
    assert judge(Reading.single(8, "lb"), LIMIT).margin_high == -1


def test_a_limit_with_one_end_has_one_margin() -> None:
    verdict = judge(Reading.single(160, "um"), Limit(None, 150, "µm", "procedure"))
    assert (verdict.margin_low, verdict.margin_high, verdict.outcome) == (None, -10, X)


@pytest.mark.parametrize(
    ("low", "high", "outcome"),
    [
        (-6.5, 6.5, W),  # on the acceptance limits
        (-6.6, 0, N),
        (7.2, 7.4, N),  # beyond the limit, but not by more than U
        (7.5, 7.5, N),
        (7.51, 8, X),
        (7.2, 8, N),  # only partly beyond by more than U
        (-9, -7.6, X),
    ],
)
def test_guard_band(low: float, high: float, outcome: Outcome) -> None:
    count = 1 if low == high else 5
    verdict = judge(Reading(low, high, count, "lb"), LIMIT, Uncertainty(0.5, "lb"))
    assert verdict.outcome is outcome
    assert (verdict.accept_low, verdict.accept_high) == (-6.5, 6.5)
    assert "guard band" in verdict.rule


def test_an_uncertainty_as_wide_as_the_limits_accepts_nothing() -> None:
    verdict = judge(Reading.single(0, "lb"), LIMIT, Uncertainty(8, "lb"))
    assert verdict.outcome is N
    assert "as wide as the limits" in verdict.reason


@pytest.mark.parametrize(("count", "said"), [(4, "4 taken"), (None, "their number was not recorded")])
@pytest.mark.parametrize("ends", [(0, 1), (20, 21)])
def test_too_few_readings_settle_nothing(count: int | None, said: str, ends: tuple[float, float]) -> None:
    verdict = judge(Reading(*ends, count, "lb"), Limit(-7, 7, "lb", "procedure", min_count=5))
    assert verdict.outcome is N
    assert verdict.reason == f"too few readings: {said}, 5 asked for"
    assert "at least 5" in verdict.next_step


def test_just_enough_readings_are_enough() -> None:
    limit = Limit(-7, 7, "lb", "procedure", min_count=5)
    assert judge(Reading(0, 1, 5, "lb"), limit).outcome is W


def test_without_a_limit_the_next_step_is_to_look_it_up() -> None:
    verdict = judge(Reading.single(1, "lb"), None)
    assert verdict.outcome is N
    assert "look up the limit" in verdict.next_step


def test_a_strict_limit_refuses_the_limit_itself() -> None:
    limit = Limit(None, 0.1, "ohm", "x", inclusive=False)
    assert judge(Reading.single(0.1, "ohm"), limit).outcome is X
    assert judge(Reading.single(0.1, "ohm"), Limit(None, 0.1, "ohm", "x")).outcome is W


def test_the_reading_is_judged_in_the_unit_of_the_limit() -> None:
    verdict = judge(Reading(-1, -0.5, 5, "kg"), LIMIT)
    assert verdict.reading.unit == "lb"
    with pytest.raises(ReadingError, match="cannot be compared"):
        judge(Reading.single(1, "mm"), LIMIT)


def test_decimals_are_compared_as_typed() -> None:
    """In binary, 0.1 + 0.2 is above 0.3."""
    limit = Limit(0.1, 1, "V", "x")
    assert judge(Reading.single(0.3, "V"), limit, Uncertainty(0.2, "V")).outcome is W


def test_probability_is_that_of_the_worse_end() -> None:
    verdict = judge(Reading(0, 6.5, 5, "lb"), LIMIT, Uncertainty(0.5, "lb"))
    assert verdict.probability == pytest.approx(conformance_probability(6.5, 0.25, -7, 7))


def test_probability_needs_a_limit_and_an_uncertainty() -> None:
    with pytest.raises(ReadingError, match="no limit"):
        conformance_probability(0, 1)
    with pytest.raises(ReadingError, match="standard uncertainty"):
        conformance_probability(0, 0, high=1)


value = st.decimals(-100, 100, places=2).map(float)


@given(a=value, b=value, low=value, high=value, u=st.decimals("0.01", 5, places=2).map(float))
def test_a_guard_band_only_ever_makes_a_verdict_less_certain(
    a: float, b: float, low: float, high: float, u: float
) -> None:
    (a, b), (low, high) = sorted((a, b)), sorted((low, high))
    reading, limit = Reading(a, b, 9, "V"), Limit(low, high, "V", "x")
    plain, guarded = judge(reading, limit).outcome, judge(reading, limit, Uncertainty(u, "V")).outcome
    assert guarded in (plain, N)
    mirrored = judge(Reading(-b, -a, 9, "V"), Limit(-high, -low, "V", "x"), Uncertainty(u, "V"))
    assert mirrored.outcome is guarded
