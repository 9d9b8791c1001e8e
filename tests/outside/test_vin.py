"""The vehicle number against 49 CFR Part 565: published worked examples, algebra, and one kept library."""

from __future__ import annotations

import string

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from knockon.engine.load.vin import check_digit, faults, model_years, weighted_sum
from vininfo import Vin as OtherReader

PERMITTED = sorted(set(string.ascii_uppercase + string.digits) - set("IOQ"))
YEAR_CODES = sorted(set(PERMITTED) - set("UZ0"))
# 49 CFR 565.15(c) Table III, written out here a second time so that a slip in the code cannot hide itself.
TABLE_III = {
    **{"A": 1, "B": 2, "C": 3, "D": 4, "E": 5, "F": 6, "G": 7, "H": 8},
    **{"J": 1, "K": 2, "L": 3, "M": 4, "N": 5, "P": 7, "R": 9},
    **{"S": 2, "T": 3, "U": 4, "V": 5, "W": 6, "X": 7, "Y": 8, "Z": 9},
    **{digit: int(digit) for digit in string.digits},
}
TABLE_IV = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


@pytest.mark.parametrize(
    ("number", "total", "digit"),
    [
        ("1G4AH59H45G118341", 411, "4"),  # 49 CFR 565.15(c), Table V
        ("1J9RP1A36A1644345", 314, "6"),  # NHTSA outline for new makers, page 18
        ("1M8GDM9AXKP042788", 351, "X"),  # common textbook example
        ("1" * 17, 89, "1"),  # arithmetic: a degenerate number that passes
    ],
)
def test_published_worked_examples(number: str, total: int, digit: str) -> None:
    assert weighted_sum(number) == total
    assert check_digit(number) == digit
    assert faults(number, "us") == []
    assert OtherReader(number).verify_checksum()


def test_the_textbook_example_with_1_for_x_is_refused() -> None:  # common textbook example
    (fault,) = faults("1M8GDM9A1KP042788", "us")
    assert fault.position == 9
    assert fault.cause.endswith("the other characters give 'X'")


@pytest.mark.parametrize("letter", "IOQ")  # 49 CFR 565.15(c), Table III has none of the three
def test_letters_that_look_like_digits_are_refused_everywhere(letter: str) -> None:
    for position in range(1, 18):
        number = "1" * (position - 1) + letter + "1" * (17 - position)
        assert [fault.position for fault in faults(number, "us")] == [position]


def test_seventeen_characters() -> None:  # 49 CFR 565.4(b), 2002 text
    for length in (0, 1, 16, 18, 34):
        assert [f.cause for f in faults("1" * length, "us")] == [
            f"the vehicle number has {length} characters"
        ]


def test_a_letter_of_equal_value_goes_unnoticed() -> None:  # the limit of the check digit: A and J are both 1
    assert faults("1M8GDM9JXKP042788", "us") == []


@given(st.text(PERMITTED, min_size=17, max_size=17))
def test_the_sum_is_the_tables(number: str) -> None:  # 49 CFR 565.15(c), Tables III and IV
    assert weighted_sum(number) == sum(TABLE_III[c] * w for c, w in zip(number, TABLE_IV, strict=True))


@given(st.text(PERMITTED, min_size=17, max_size=17), st.integers(1, 17), st.sampled_from(PERMITTED))
def test_one_changed_character_of_another_value_is_always_caught(
    number: str, position: int, other: str
) -> None:  # algebra: weights 2 to 10 and value differences 1 to 9 are no multiples of 11
    number = number[:8] + check_digit(number) + number[9:]
    assume(position != 9 and TABLE_III[number[position - 1]] != TABLE_III[other])
    changed = number[: position - 1] + other + number[position:]
    assert check_digit(changed) != number[8]


@given(st.text(PERMITTED, min_size=17, max_size=17), st.sampled_from("0123456789X"))
def test_agrees_with_a_kept_library(number: str, ninth: str) -> None:  # vininfo 1.11
    number = number[:8] + ninth + number[9:]
    library = OtherReader(number)
    # The library knows makers abroad that leave the check digit out; we go by the market of the case instead.
    assume(getattr(library.assembler, "uses_sae_checkdigit", True))
    assert (faults(number, "us") == []) == library.verify_checksum()


@pytest.mark.parametrize(
    ("seventh", "code", "year"),
    [
        ("1", "A", 1980),  # 49 CFR 565.15(d)(1): from memory, this whole list
        ("1", "Y", 2000),
        ("1", "1", 2001),
        ("1", "9", 2009),
        ("A", "A", 2010),
        ("A", "K", 2019),
        ("A", "T", 2026),
        ("A", "9", 2039),
    ],
)
def test_model_year_codes(seventh: str, code: str, year: int) -> None:
    number = f"111111{seventh}11{code}1111111"
    number = number[:8] + check_digit(number) + number[9:]
    assert model_years(number)[0] == (year,)


@given(st.sampled_from(YEAR_CODES), st.sampled_from(PERMITTED))
def test_two_numbers_of_one_year_code_are_thirty_years_apart(code: str, seventh: str) -> None:
    """49 CFR 565.4(d), 2002 text: no two numbers alike within 30 years, so a code returns after 30."""
    number = f"111111{seventh}11{code}1111111"
    number = number[:8] + check_digit(number) + number[9:]
    early, late = model_years(number, gvwr_kg=9000)[0]
    assert late - early == 30
