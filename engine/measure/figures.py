"""Numbers as a person typed them: refused when impossible, compared exactly, printed plainly.

Knows nothing of units, limits or vehicles.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decimal import Decimal


class ReadingError(ValueError):
    """A reading, limit or unit that cannot be used; says why and what to do."""

    def __init__(self, cause: str, next_step: str) -> None:
        super().__init__(f"{cause}; {next_step}")
        self.cause = cause
        self.next_step = next_step


def finite(value: float, what: str) -> float:
    """`value` as a float, or a `ReadingError` when it is no finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ReadingError(f"{what} is {value!r}, not a number", "write the figure the instrument showed")
    return float(value)


def positive(value: float, what: str) -> float:
    """`value` as a float, or a `ReadingError` when it is not above zero."""
    if finite(value, what) <= 0:
        raise ReadingError(f"{what} is {say(value)}, which cannot be", "it must be above zero: read it again")
    return float(value)


def whole(value: int, least: int, most: int, what: str) -> int:
    """`value`, or a `ReadingError` when it is no whole number from `least` to `most`."""
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise ReadingError(f"{what} is {value!r}", f"give a whole number from {least} to {most}")
    return value


def exact(value: float) -> Decimal:
    """The decimal a person typed: 0.1 is one tenth, so that a reading on its limit stays on it."""
    from decimal import Decimal

    return Decimal(repr(float(value)))


def say(value: float, figures: int = 6) -> str:
    """Significant figures without exponent or trailing zeros: -2.405, 216000, 0.15."""
    if value == 0:
        return "0"
    places = max(0, figures - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def nearest(word: str, known: tuple[str, ...]) -> str | None:
    """The known word closest to `word`, if one is close enough to be meant; more if only the case differs."""
    from difflib import get_close_matches  # only a mistake needs it

    found = get_close_matches(word.lower(), sorted({name.lower() for name in known}), n=1, cutoff=0.62)
    return " or ".join(name for name in known if name.lower() == found[0]) if found else None
