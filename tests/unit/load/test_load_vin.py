"""The vehicle number: one message per fault, each with its place, and the years a sound number can mean."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.load.vin import VinError, check, check_digit, faults

GOOD = "1G4AH59H45G118341"
PERMITTED = sorted(set(string.ascii_uppercase + string.digits) - set("IOQ"))
YEAR_CODES = sorted(set(PERMITTED) - set("UZ0"))


@st.composite
def sound_numbers(draw: st.DrawFn) -> str:
    """A number that carries the right check digit and a possible model year code."""
    characters = draw(st.lists(st.sampled_from(PERMITTED), min_size=17, max_size=17))
    characters[9] = draw(st.sampled_from(YEAR_CODES))
    characters[8] = check_digit("".join(characters))
    return "".join(characters)


def replaced(number: str, position: int, character: str) -> str:
    return number[: position - 1] + character + number[position:]


@pytest.mark.parametrize(
    ("number", "market", "position", "expected", "next_step"),
    [
        ("1G4AH59H45G11834", "us", 17, "17 characters", "read the number again from the plate"),
        ("1G4AH59H45G1183411", "us", 18, "17 characters", "read the number again from the plate"),
        ("", "us", 1, "17 characters", "read the number again from the plate"),
        (replaced(GOOD, 11, "O"), "us", 11, "0, or else a digit or a letter", "often a 0"),
        (replaced(GOOD, 1, "I"), "un", 1, "1, or else a digit or a letter", "often a 1"),
        (replaced(GOOD, 12, "Q"), "other", 12, "0, or else a digit or a letter", "often a 0"),
        (replaced(GOOD, 3, "-"), "us", 3, "a digit or a letter other than I, O, Q", "read position 3 again"),
        (replaced(GOOD, 9, "7"), "us", 9, "4", "compare all 17 characters"),
    ],
)
def test_a_wrong_number_says_where_and_what(
    number: str, market: str, position: int, expected: str, next_step: str
) -> None:
    with pytest.raises(VinError) as caught:
        check(number, market)
    assert caught.value.position == position
    assert caught.value.expected.startswith(expected)
    assert next_step in caught.value.next_step
    assert caught.value.cause == str(caught.value)


def test_every_wrong_character_is_named_not_only_the_first() -> None:
    assert [fault.position for fault in faults("1G4IH59O45G118Q41", "us")] == [4, 8, 15]


def test_length_comes_first_and_hides_no_wrong_character() -> None:
    assert [fault.position for fault in faults("1O", "us")] == [3, 2]


@pytest.mark.parametrize("code", ["U", "Z", "0"])
def test_a_code_that_is_no_model_year_is_a_fault_of_position_10(code: str) -> None:
    number = replaced(GOOD, 10, code)
    number = replaced(number, 9, check_digit(number))
    assert [fault.position for fault in faults(number, "us")] == [10]
    assert faults(number, "un") == []


def test_small_letters_and_blanks_around_are_no_fault() -> None:
    assert check(f" {GOOD.lower()} ", "us").number == GOOD


def test_other_markets_get_no_check_digit_and_no_year() -> None:
    read = check(replaced(GOOD, 9, "7"), "un")
    assert read.model_years == ()
    assert "no year code" in read.formula


@pytest.mark.parametrize(
    ("gvwr", "years", "said"),
    [
        (None, (2005,), "taken as a light vehicle"),
        (4536, (2005,), "position 7 is 9"),
        (4537, (2005, 2035), "above 4536 kg"),
    ],
)
def test_position_7_settles_the_thirty_years_for_light_vehicles_only(
    gvwr: float | None, years: tuple[int, ...], said: str
) -> None:
    read = check(GOOD, "us", gvwr)
    assert read.model_years == years
    assert said in read.formula


@given(sound_numbers())
def test_a_sound_number_has_exactly_one_year_in_its_range(number: str) -> None:
    (year,) = check(number, "us").model_years
    assert (year < 2010) == number[6].isdigit()
    assert 1980 <= year <= 2039


@given(st.text(max_size=25), st.sampled_from(["us", "un", "other", ""]))
def test_no_text_whatever_breaks_the_reader(text: str, market: str) -> None:
    for fault in faults(text, market):
        assert fault.position is not None
        assert 1 <= fault.position <= max(18, len(text))
        assert fault.expected
        assert fault.next_step
