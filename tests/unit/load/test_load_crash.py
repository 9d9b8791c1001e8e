"""What the blow's figures become: facts that say from what, marked estimates, disagreements to ask about."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.load.crash import (
    LOW_SPEED_DELTA_V_KMH,
    Computed,
    CrashError,
    compare,
    decode,
    from_closing_speed,
    from_damage_code,
    from_direction,
    from_recorder,
)


def facts(found: list[Computed]) -> dict[str, object]:
    return {item.fact: item.value for item in found}


@pytest.mark.parametrize("degrees", [-1.0, 360.5, math.nan, math.inf])
def test_a_direction_outside_the_circle_is_refused_with_a_way_out(degrees: float) -> None:
    with pytest.raises(CrashError) as caught:
        from_direction(degrees)
    assert caught.value.position == "pdof"
    assert "counter-clockwise" in caught.value.next_step


@pytest.mark.parametrize(
    ("code", "column"),
    [
        ("12FDEW", 7),
        ("12FDEW22", 8),
        ("", 1),
        ("13FDEW2", 1),
        ("A2FDEW2", 1),
        ("12XDEW2", 3),
        ("12FPEW2", 4),
        ("09LLAW3", 4),
        ("12FDXW2", 5),
        ("00TDAO3", 5),
        ("12FDEX2", 6),
        ("12FDEW0", 7),
    ],
)
def test_a_wrong_damage_code_names_the_column(code: str, column: int) -> None:
    with pytest.raises(CrashError) as caught:
        decode(code)
    assert caught.value.position == column
    assert caught.value.expected
    assert caught.value.next_step


def test_dashes_blanks_and_small_letters_are_no_fault() -> None:
    assert decode(" 12-f-d-e-w-2 ") == decode("12FDEW2")


def test_a_narrow_pattern_does_not_say_what_was_struck() -> None:
    assert "struck_object" not in facts(from_damage_code("12FCEN4"))


def test_an_unknown_direction_leaves_the_other_columns() -> None:
    assert facts(from_damage_code("99FLEW2")) == {"area": ("front",), "zone": ("fl",)}


def test_a_hood_is_top_of_the_body_but_not_the_roof() -> None:
    assert facts(from_damage_code("00TFDW1")) == {"force_clock": "none", "area": ("top",)}
    assert facts(from_damage_code("00TDDO3"))["zone"] == ("rt",)


def test_a_roll_a_shifted_end_and_an_underside_are_certain() -> None:
    assert facts(from_damage_code("00TDDO3"))["rollover"] == "yes"
    assert facts(from_damage_code("72FDEW4"))["struct_displaced"] == "yes"
    assert facts(from_damage_code("00UDDW2"))["under_strike"] == "yes"
    assert not {"rollover", "struct_displaced", "under_strike"} & set(facts(from_damage_code("12FDEW2")))


def test_one_axis_alone_gives_no_direction() -> None:
    found = from_recorder(-18.0)
    assert facts(found) == {"delta_v": 18.0}
    assert "no lateral" in found[0].formula


def test_no_change_of_velocity_has_no_direction() -> None:
    assert facts(from_recorder(0.0, 0.0)) == {"delta_v": 0.0}


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_reading_that_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(CrashError):
        from_recorder(value)
    with pytest.raises(CrashError):
        from_recorder(1.0, value)


@pytest.mark.parametrize(
    ("closing", "mass", "other", "restitution"),
    [(-1, 1500, 1500, 0), (20, 0, 1500, 0), (20, 1500, 0, 0), (20, 1500, math.nan, 0), (20, 1500, 1500, 1.1)],
)
def test_impossible_closing_figures_are_refused(
    closing: float, mass: float, other: float, restitution: float
) -> None:
    with pytest.raises(CrashError):
        from_closing_speed(closing, mass, other, restitution)


def test_only_the_closing_speed_gives_an_estimate() -> None:
    assert from_closing_speed(20, 1500, 1500)[0].estimate
    measured = [*from_direction(90), *from_recorder(-20, -10), *from_damage_code("12FDEW2")]
    assert not any(item.estimate for item in measured)


def test_every_computed_fact_says_from_what() -> None:
    found = [*from_direction(90), *from_recorder(-20, -10), *from_closing_speed(20, 1500, 1200)]
    assert [item.formula.split(",")[0] for item in found] == [
        "the principal direction of force",
        "the recorder's delta-V",
        "the recorder's delta-V",
        "closing speed 20 km/h",
    ]


@given(st.floats(0, 200), st.floats(0, 200), st.floats(500, 4000), st.floats(500, 40000))
def test_a_faster_blow_is_never_estimated_lower(
    one: float, other: float, mass: float, against: float
) -> None:
    slow, fast = sorted((one, other))
    low, high = (from_closing_speed(v, mass, against)[0].value for v in (slow, fast))
    assert isinstance(low, float)
    assert isinstance(high, float)
    assert low <= high


@given(st.floats(0, 200), st.floats(500, 4000), st.floats(500, 40000))
def test_without_a_restitution_the_estimate_is_not_below_the_published_ranges(
    closing: float, mass: float, against: float
) -> None:
    value = from_closing_speed(closing, mass, against)[0].value
    plastic = closing / (1 + mass / against)
    assert isinstance(value, float)
    assert value >= round(plastic * 1.1, 2) or value >= round(min(plastic * 1.4, LOW_SPEED_DELTA_V_KMH), 2)


CLOCK = from_direction(90)


@pytest.mark.parametrize(
    ("told", "asks"), [("3", False), ("2", False), ("4", False), ("5", True), ("9", True)]
)
def test_more_than_one_clock_hour_apart_is_asked(told: str, asks: bool) -> None:
    assert bool(compare({"force_clock": told}, CLOCK)) == asks


@pytest.mark.parametrize(("told", "asks"), [("12", False), ("1", False), ("11", False), ("10", True)])
def test_the_clock_has_no_gap_at_twelve(told: str, asks: bool) -> None:
    assert bool(compare({"force_clock": told}, from_direction(0))) == asks


def test_a_direction_against_none_is_asked() -> None:
    assert compare({"force_clock": "none"}, CLOCK)
    assert not compare({"force_clock": "none"}, from_damage_code("00TDDO3")[:1])


@pytest.mark.parametrize(
    ("told", "asks"),
    [
        (["front"], False),
        (frozenset({"front", "left"}), False),
        (["left"], True),
        ([], True),
        ("front", False),
    ],
)
def test_a_computed_area_must_be_among_the_told(told: object, asks: bool) -> None:
    assert bool(compare({"area": told}, from_damage_code("12FDEW2"))) == asks


@pytest.mark.parametrize(("told", "asks"), [(22.4, False), (20.3, False), (19.9, True), (25.0, True)])
def test_a_told_delta_v_may_differ_by_the_recorders_accuracy(told: float, asks: bool) -> None:
    assert bool(compare({"delta_v": told}, from_recorder(-20, -10))) == asks


def test_an_estimate_may_differ_more_than_a_reading() -> None:
    estimate = from_closing_speed(40, 1500, 1500, 0.1)  # 22 km/h
    assert not compare({"delta_v": 18}, estimate)
    assert compare({"delta_v": 16}, estimate)


def test_two_computations_are_compared_with_each_other_too() -> None:
    (found,) = compare({}, [*from_direction(180), *from_damage_code("12FDEW2")])
    assert (found.one.value, found.other.value) == ("6", "12")
    assert "degrees" in found.one.formula
    assert "12FDEW2" in found.other.formula


def test_what_nobody_told_is_no_disagreement() -> None:
    assert compare({"area": None, "zone": ["fl", "fc", "fr"]}, from_damage_code("12FDEW2")) == []


def test_a_told_no_against_a_certain_yes_is_asked() -> None:
    (found,) = compare({"rollover": "no"}, from_damage_code("00TDDO3"))
    assert (found.one.formula, found.one.value, found.other.value) == ("told", "no", "yes")
