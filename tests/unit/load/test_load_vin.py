"""The vehicle number: one message per fault, each with its place, and the years a sound number can mean."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.load.vin import check_digit, faults, model_years

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
    ("number", "market", "position", "next_step"),
    [
        ("1G4AH59H45G11834", "us", 17, "read the number again from the plate"),
        ("1G4AH59H45G1183411", "us", 18, "read the number again from the plate"),
        ("", "us", 1, "read the number again from the plate"),
        (replaced(GOOD, 11, "O"), "us", 11, "often a 0"),
        (replaced(GOOD, 1, "I"), "un", 1, "often a 1"),
        (replaced(GOOD, 12, "Q"), "other", 12, "often a 0"),
        (replaced(GOOD, 3, "-"), "us", 3, "read position 3 again"),
        (replaced(GOOD, 9, "7"), "us", 9, "compare all 17 characters"),
    ],
)
def test_a_wrong_number_says_where_and_what(number: str, market: str, position: int, next_step: str) -> None:
    (fault,) = faults(number, market)
    assert fault.position == position
    assert next_step in fault.next_step
    assert fault.cause


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
    assert faults(f" {GOOD.lower()} ", "us") == []
    assert model_years(f" {GOOD.lower()} ") == model_years(GOOD)


def test_other_markets_get_no_check_digit() -> None:
    assert faults(replaced(GOOD, 9, "7"), "un") == []


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
    found, formula = model_years(GOOD, gvwr)
    assert found == years
    assert said in formula


@given(sound_numbers())
def test_a_sound_number_has_exactly_one_year_in_its_range(number: str) -> None:
    (year,), _ = model_years(number)
    assert (year < 2010) == number[6].isdigit()
    assert 1980 <= year <= 2039


@given(st.text(max_size=25), st.sampled_from(["us", "un", "other", ""]))
def test_no_text_whatever_breaks_the_reader(text: str, market: str) -> None:
    for fault in faults(text, market):
        assert 1 <= fault.position <= max(18, len(text))
        assert fault.cause
        assert fault.next_step
