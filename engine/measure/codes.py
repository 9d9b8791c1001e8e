"""Trouble codes: two bytes to letter and digits and back, the failure type byte, as typed by a person.

Holds no text of any code: what a code means is for the repair information.
"""

from __future__ import annotations

import re
from typing import Literal

from ..model.record import dataclass
from .figures import ReadingError, whole

_LETTERS = "PCBU"
_GROUPS = {"P": "powertrain", "C": "chassis", "B": "body", "U": "network"}
_TYPED = re.compile(r"([PCBU])([0-3])([0-9A-F]{3})(?:[-:\s]?([0-9A-F]{2}))?")


@dataclass(frozen=True, slots=True)
class Code:
    """One trouble code; `failure_type` is the third byte, None where the protocol has two."""

    text: str
    failure_type: int | None = None

    def __post_init__(self) -> None:
        if not re.fullmatch("[PCBU][0-3][0-9A-F]{3}", self.text):
            raise ReadingError(f"`{self.text}` is not a trouble code", "use parse for what a person typed")
        if self.failure_type is not None:
            whole(self.failure_type, 0, 0xFF, "a failure type")

    @property
    def group(self) -> str:
        """powertrain, chassis, body or network; a network code speaks of the line, not of the sensor."""
        return _GROUPS[self.text[0]]

    @property
    def defined_by(self) -> Literal["standard", "maker", "not known"]:
        """Who gives the code its meaning (SAE J2012): the standard or the vehicle maker."""
        letter, digit, third = self.text[0], self.text[1], self.text[2]
        if digit == "0":
            return "standard"
        if digit == "1":
            return "maker"
        if letter == "P":
            return "standard" if digit == "2" or third >= "4" else "maker"
        return "maker" if digit == "2" else "not known"

    def __str__(self) -> str:
        return self.text if self.failure_type is None else f"{self.text}-{self.failure_type:02X}"


def decode(raw: int) -> str:
    """Two bytes to the printed code: 0x96A1 is B16A1."""
    whole(raw, 0, 0xFFFF, "a two-byte code")
    return f"{_LETTERS[raw >> 14]}{raw >> 12 & 3}{raw & 0xFFF:03X}"


def encode(text: str) -> int:
    """The printed code (without failure type) to its two bytes."""
    found = parse(text)
    if found.failure_type is not None:
        raise ReadingError(f"`{text}` carries a failure type byte", "use encode3, or leave the byte out")
    return _two_bytes(found.text)


def decode3(raw: int) -> Code:
    """Three bytes, the last one the failure type: 0x96A123 is B16A1-23."""
    whole(raw, 0, 0xFFFFFF, "a three-byte code")
    return Code(decode(raw >> 8), raw & 0xFF)


def encode3(code: Code) -> int:
    """A code with its failure type to three bytes."""
    if code.failure_type is None:
        raise ReadingError(f"{code.text} has no failure type byte", "use encode for a two-byte code")
    return _two_bytes(code.text) << 8 | code.failure_type


def parse(text: str) -> Code:
    """A code as a person types it: `b16a1`, `B16A1-23`, `B16A1:23`."""
    typed = text.strip().upper()
    found = _TYPED.fullmatch(typed)
    if found is None:
        repaired = typed[:1] + typed[1:].replace("O", "0").replace("I", "1").replace("L", "1")
        hint = (
            f"did you mean {repaired}?"
            if _TYPED.fullmatch(repaired)
            else (
                "write a letter P, C, B or U, a digit 0 to 3 and three of 0-9 A-F, such as B16A1 or B16A1-23"
            )
        )
        raise ReadingError(f"`{text}` is not a trouble code", hint)
    letter, digit, rest, failure = found.groups()
    return Code(letter + digit + rest, None if failure is None else int(failure, 16))


def _two_bytes(text: str) -> int:
    return _LETTERS.index(text[0]) << 14 | int(text[1]) << 12 | int(text[2:], 16)
