"""Readings and limits refuse what cannot be."""

from __future__ import annotations

from math import inf, nan

import pytest
from knockon.engine.measure.figures import ReadingError
from knockon.engine.measure.reading import Limit, Reading, Uncertainty


def test_swapped_ends_are_named_as_swapped() -> None:
    with pytest.raises(ReadingError) as caught:
        Reading(0.45, 0.15, 12, "lb")
    assert caught.value.cause == "the lowest reading 0.45 is above the highest 0.15 lb"
    assert "swapped" in caught.value.next_step
    with pytest.raises(ReadingError, match="swapped"):
        Limit(7, -7, "lb", "procedure")


@pytest.mark.parametrize("value", [nan, inf, -inf, True])
def test_what_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(ReadingError, match="not a number"):
        Reading.single(value, "kg")


@pytest.mark.parametrize("count", [0, -1, True])
def test_a_count_below_one_is_refused(count: int) -> None:
    with pytest.raises(ReadingError, match="number of readings"):
        Reading(1, 2, count, "kg")


def test_one_reading_cannot_be_a_range() -> None:
    with pytest.raises(ReadingError, match="cannot be both 1 and 2 kg"):
        Reading(1, 2, 1, "kg")


def test_resistance_below_zero_is_refused() -> None:
    with pytest.raises(ReadingError, match="below zero"):
        Reading.single(-1, "Mohm")


def test_samples_must_agree_with_the_range() -> None:
    with pytest.raises(ReadingError, match="do not agree"):
        Reading(1, 3, 2, "kg", (1.0, 2.0))
    with pytest.raises(ReadingError, match="no sample"):
        Reading.from_samples([], "kg")


def test_one_sample_has_no_deviation_and_a_range_none_either() -> None:
    assert Reading(1, 3, 4, "kg").deviation is None
    assert Reading(1, 3, 4, "kg").centre == 2


def test_conversion_and_shift_keep_samples_and_count() -> None:
    reading = Reading.from_samples([1.0, 2.0, 4.0], "kg")
    moved = reading.to("g").shifted(-500)
    assert moved.samples == (500, 1500, 3500)
    assert (moved.count, moved.unit) == (3, "g")
    assert reading.to("kg") is reading


@pytest.mark.parametrize(
    ("low", "high", "source", "part"),
    [(None, None, "x", "neither"), (1, 2, " ", "where it is from"), (nan, 2, "x", "not a number")],
)
def test_limits_must_be_whole(low: float | None, high: float | None, source: str, part: str) -> None:
    with pytest.raises(ReadingError, match=part):
        Limit(low, high, "kg", source)


def test_limits_and_readings_in_words() -> None:
    assert str(Limit(-7, 7, "lbs", "x")) == "-7 to 7 lb"
    assert str(Limit(None, 150, "um", "x")) == "at most 150 µm"
    assert str(Limit(100, None, "ohm/V", "x")) == "at least 100 ohm/V"
    assert str(Limit(None, 0.1, "ohm", "x", inclusive=False)) == "below 0.1 ohm"
    assert str(Limit(5, None, "V", "x", inclusive=False)) == "above 5 V"
    assert str(Reading.single(3, "kg")) == "3 kg"


def test_an_uncertainty_converts_as_a_difference() -> None:
    assert Uncertainty(1, "°C").to("°F").expanded == 1.8
    with pytest.raises(ReadingError, match="expanded uncertainty"):
        Uncertainty(0, "kg")
