"""The status byte of a trouble code (ISO 14229-1): its bits by name, and the state they add up to.

The one trap: right after clearing, every test reads 0x50. Nothing has failed, because nothing has run yet.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from ..model.record import dataclass
from .figures import whole

BITS = (
    "test failed",
    "test failed this cycle",
    "pending",
    "confirmed",
    "test not completed since clear",
    "test failed since clear",
    "test not completed this cycle",
    "warning lamp requested",
)
CONFIRMED = 0x08


class Ran(StrEnum):
    """How the test behind a code went in this cycle."""

    FAILED = "failed"
    PASSED = "passed this cycle"
    NOT_TESTED = "not tested this cycle"
    NOT_TESTED_SINCE_CLEAR = "not tested since the codes were cleared"
    NOT_REPORTED = "not reported by this unit"


class Memory(StrEnum):
    """What the unit has kept of it."""

    CONFIRMED = "confirmed"
    PENDING = "pending"
    HISTORY = "failed since clear, not kept"
    NOTHING = "nothing kept"


@dataclass(frozen=True, slots=True)
class Status:
    """One status byte, read with the mask of bits the unit supports (a bit outside it always reads 0)."""

    byte: int
    mask: int = 0xFF

    def __post_init__(self) -> None:
        whole(self.byte, 0, 0xFF, "a status byte")
        whole(self.mask, 0, 0xFF, "an availability mask")

    def bit(self, number: int) -> bool:
        """Whether the bit is set and supported."""
        return bool(self.byte & self.mask & 1 << number)

    @property
    def bits(self) -> tuple[int, ...]:
        """Numbers of the bits that are set."""
        return tuple(number for number in range(8) if self.bit(number))

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the bits that are set."""
        return tuple(BITS[number] for number in self.bits)

    @property
    def ran(self) -> Ran:
        """Failed wins over everything; passed needs the bit that says it ran and no sign of a failure."""
        if self.bit(1) or (self.bit(0) and not self.bit(6)):
            return Ran.FAILED
        if self.bit(6):
            return Ran.NOT_TESTED_SINCE_CLEAR if self.bit(4) else Ran.NOT_TESTED
        # a unit without bit 1 or bit 6 shows 0 there whatever happened
        return Ran.PASSED if self.mask & 0x42 == 0x42 else Ran.NOT_REPORTED

    @property
    def memory(self) -> Memory:
        """The strongest thing kept."""
        for number, kept in ((3, Memory.CONFIRMED), (2, Memory.PENDING), (5, Memory.HISTORY)):
            if self.bit(number):
                return kept
        return Memory.NOTHING

    @property
    def contradictions(self) -> tuple[str, ...]:
        """Bits that cannot be set together; a byte that has them was misread or not supported."""
        pairs = ((1, 6), (4, 5))
        return tuple(f"{BITS[a]} and {BITS[b]}" for a, b in pairs if self.bit(a) and self.bit(b))

    @property
    def state(self) -> str:
        """One phrase for a page: `confirmed, passed this cycle`."""
        lead = "" if self.memory is Memory.NOTHING else f"{self.memory}, "
        lamp = ", warning lamp requested" if self.bit(7) else ""
        earlier = ", failed when last tested" if self.bit(0) and self.ran is not Ran.FAILED else ""
        return f"{lead}{self.ran}{earlier}{lamp}"


def present(status: Status | None) -> bool:
    """Whether a listed code counts as there: something failed or was kept; without a status byte it does."""
    if status is None:
        return True
    return status.ran is Ran.FAILED or status.memory is not Memory.NOTHING or status.bit(0)


class Scan(StrEnum):
    """What a set of status bytes proves."""

    CODES = "codes present"
    CLEAR = "every test has run, none failed"
    NOT_CONCLUSIVE = "not conclusive"


def scan(statuses: Iterable[Status]) -> Scan:
    """A scan is clear only when every test behind it has run; an empty list proves nothing."""
    read = tuple(statuses)
    if any(present(s) for s in read):
        return Scan.CODES
    return Scan.CLEAR if read and all(s.ran is Ran.PASSED for s in read) else Scan.NOT_CONCLUSIVE
