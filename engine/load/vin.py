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


@dataclass(frozen=True)
class Fault:
    """One fault of a vehicle number: what is wrong, at which position, and what to do."""

    cause: str
    position: int
    next_step: str


def faults(vin: str, market: str) -> list[Fault]:
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


def _wrong_length(number: str) -> Fault:
    return Fault(
        f"the vehicle number has {len(number)} characters",
        min(len(number), LENGTH) + 1,
        "read the number again from the plate or the registration, without spaces or dashes",
    )


def _wrong_characters(number: str) -> list[Fault]:
    places = enumerate(number, start=1)
    return [_wrong_character(character, place) for place, character in places if character not in _VALUES]


def _wrong_character(character: str, position: int) -> Fault:
    likely = _MISREAD.get(character)
    return Fault(
        f"{character!r} at position {position} never stands in a vehicle number",
        position,
        f"read position {position} again" + (f"; it is often a {likely}" if likely else ""),
    )


def _wrong_check_digit(number: str) -> Fault | None:
    expected, told = check_digit(number), number[CHECK_POSITION - 1]
    if told == expected:
        return None
    # The sum cannot say which character is wrong, so the message must not blame position 9 alone.
    return Fault(
        f"the check digit at position {CHECK_POSITION} is {told!r}, the other characters give {expected!r}",
        CHECK_POSITION,
        "compare all 17 characters with the plate: at least one of them is misread",
    )


def _wrong_year_code(number: str) -> Fault | None:
    told = number[YEAR_POSITION - 1]
    if told in YEAR_CODES:
        return None
    cause = f"{told!r} at position {YEAR_POSITION} is no model year code"
    return Fault(cause, YEAR_POSITION, f"read position {YEAR_POSITION} again")


def model_years(vin: str, gvwr_kg: float | None = None) -> tuple[tuple[int, ...], str]:
    """The years a number without fault can mean in the market that requires them, and from what they follow.

    Without a gross weight rating the vehicle is taken as a light one, which is then said too.
    """
    number = _plain(vin)
    code, era = number[YEAR_POSITION - 1], number[ERA_POSITION - 1]
    first = FIRST_YEAR + YEAR_CODES.index(code)
    both = (first, first + len(YEAR_CODES))
    said = f"position {YEAR_POSITION} of the vehicle number is {code}"
    if gvwr_kg is not None and gvwr_kg > LIGHT_GVWR_KG:
        return both, f"{said}; above {LIGHT_GVWR_KG} kg position {ERA_POSITION} tells no thirty years apart"
    year = both[0] if era in digits else both[1]
    taken = "; taken as a light vehicle" if gvwr_kg is None else ""
    return (year,), f"{said} and position {ERA_POSITION} is {era}{taken}"
