"""Validates a vehicle identification number and says which model years it can mean.

It knows nothing of makers: no table of manufacturer identifiers, no look-up, no guess at a corrected number.

Check digit: 49 CFR 565.15(c), Tables III (values) and IV (weights); position 9, remainder 10 is written X.
Model year: 49 CFR 565.15(d)(1), position 10, a code that repeats after thirty years. For passenger cars, and
for multipurpose vehicles and trucks up to 4,536 kg gross rating, position 7 tells the thirty years apart: a
digit means 1980 to 2009, a letter 2010 to 2039 (this paragraph from memory, not read again here).
"""

from __future__ import annotations

from string import ascii_lowercase, ascii_uppercase, digits

from ..model.record import dataclass

LENGTH = 17
CHECK_POSITION = 9
YEAR_POSITION = 10
ERA_POSITION = 7
LIGHT_GVWR_KG = 4536
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
# The year code leaves out 0, U and Z besides the three letters no vehicle number may hold.
YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
FIRST_YEAR = 1980
_VALUES = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", (*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)), strict=True))
_VALUES |= {digit: int(digit) for digit in digits}
_CHECK_DIGITS = "0123456789X"
_MISREAD = {"I": "1", "O": "0", "Q": "0"}
# str.upper would turn some foreign letters into two; only the plain alphabet is raised.
_UPPER = str.maketrans(ascii_lowercase, ascii_uppercase)


class VinError(ValueError):
    """One fault of a vehicle number: where it is, what was expected there, and what to do."""

    def __init__(self, cause: str, *, position: int | None, expected: str, next_step: str) -> None:
        super().__init__(cause)
        self.cause = cause
        self.position = position
        self.expected = expected
        self.next_step = next_step


@dataclass(frozen=True)
class Vin:
    """A vehicle number without a fault. `model_years` is empty where the market does not code the year."""

    number: str
    market: str
    model_years: tuple[int, ...]
    formula: str


def check(vin: str, market: str, gvwr_kg: float | None = None) -> Vin:
    """Return the number with the model years it can mean, or raise the first of its faults.

    Without a gross weight rating the vehicle is taken as a light one, and `formula` says so.
    """
    found = faults(vin, market)
    if found:
        raise found[0]
    number = _plain(vin)
    if market != "us":
        return Vin(number, market, (), "outside the market that requires it, no year code can be relied on")
    years, formula = _model_years(number, gvwr_kg)
    return Vin(number, market, years, formula)


def faults(vin: str, market: str) -> list[VinError]:
    """Every fault of the number; check digit and year are judged only once all characters can be right."""
    number = _plain(vin)
    found = _wrong_characters(number)
    if len(number) != LENGTH:
        # A character too few or too many shifts every place after it, so no further place can be named.
        return [_wrong_length(number), *found]
    if market == "us" and not found:
        found = [fault for fault in (_wrong_check_digit(number), _wrong_year_code(number)) if fault]
    return found


def check_digit(number: str) -> str:
    """The digit that belongs at position 9, from the sixteen other characters (49 CFR 565.15(c))."""
    return _CHECK_DIGITS[weighted_sum(number) % 11]


def weighted_sum(number: str) -> int:
    """The sum of value times weight; position 9 weighs nothing."""
    return sum(_VALUES[character] * weight for character, weight in zip(number, WEIGHTS, strict=True))


def _plain(vin: str) -> str:
    return vin.strip().translate(_UPPER)


def _wrong_length(number: str) -> VinError:
    return VinError(
        f"the vehicle number has {len(number)} characters",
        position=min(len(number), LENGTH) + 1,
        expected=f"{LENGTH} characters",
        next_step="read the number again from the plate or the registration, without spaces or dashes",
    )


def _wrong_characters(number: str) -> list[VinError]:
    places = enumerate(number, start=1)
    return [_wrong_character(character, place) for place, character in places if character not in _VALUES]


def _wrong_character(character: str, position: int) -> VinError:
    likely = _MISREAD.get(character)
    permitted = "a digit or a letter other than I, O, Q"
    return VinError(
        f"{character!r} at position {position} never stands in a vehicle number",
        position=position,
        expected=f"{likely}, or else {permitted}" if likely else permitted,
        next_step=f"read position {position} again" + (f"; it is often a {likely}" if likely else ""),
    )


def _wrong_check_digit(number: str) -> VinError | None:
    expected, told = check_digit(number), number[CHECK_POSITION - 1]
    if told == expected:
        return None
    # The sum cannot say which character is wrong, so the message must not blame position 9 alone.
    return VinError(
        f"the check digit at position {CHECK_POSITION} is {told!r}, the other characters give {expected!r}",
        position=CHECK_POSITION,
        expected=expected,
        next_step="compare all 17 characters with the plate: at least one of them is misread",
    )


def _wrong_year_code(number: str) -> VinError | None:
    told = number[YEAR_POSITION - 1]
    if told in YEAR_CODES:
        return None
    return VinError(
        f"{told!r} at position {YEAR_POSITION} is no model year code",
        position=YEAR_POSITION,
        expected="a digit 1 to 9 or a letter other than I, O, Q, U, Z",
        next_step=f"read position {YEAR_POSITION} again",
    )


def _model_years(number: str, gvwr_kg: float | None) -> tuple[tuple[int, ...], str]:
    code, era = number[YEAR_POSITION - 1], number[ERA_POSITION - 1]
    first = FIRST_YEAR + YEAR_CODES.index(code)
    both = (first, first + len(YEAR_CODES))
    said = f"position {YEAR_POSITION} of the vehicle number is {code}"
    if gvwr_kg is not None and gvwr_kg > LIGHT_GVWR_KG:
        return both, f"{said}; above {LIGHT_GVWR_KG} kg position {ERA_POSITION} tells no thirty years apart"
    year = both[0] if era in digits else both[1]
    taken = "; taken as a light vehicle" if gvwr_kg is None else ""
    return (year,), f"{said} and position {ERA_POSITION} is {era}{taken}"
