"""What was measured and what it is measured against: `Reading`, `Limit`, `Uncertainty`.

Refuses impossible data on construction; decides nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from statistics import fmean, stdev

from ..model.record import dataclass, replace
from .figures import ReadingError, finite, positive, say
from .units import convert, convert_difference, unit

_NEVER_NEGATIVE = ("resistance", "resistance per volt", "frequency", "illuminance")


def _checked_count(count: int | None, what: str) -> None:
    if count is not None and (isinstance(count, bool) or not isinstance(count, int) or count < 1):
        raise ReadingError(f"{what} is {count!r}", "give a whole number of readings, 1 or more")


@dataclass(frozen=True, slots=True)
class Reading:
    """The range an instrument showed; `count` is None when nobody counted the readings."""

    lowest: float
    highest: float
    count: int | None
    unit: str
    samples: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "unit", unit(self.unit).symbol)
        object.__setattr__(self, "lowest", finite(self.lowest, "the lowest reading"))
        object.__setattr__(self, "highest", finite(self.highest, "the highest reading"))
        _checked_count(self.count, "the number of readings")
        if self.lowest < 0 and unit(self.unit).kind in _NEVER_NEGATIVE:
            raise ReadingError(
                f"{say(self.lowest)} {self.unit} is below zero, which cannot be",
                "check leads and range of the instrument and read it again",
            )
        if self.lowest > self.highest:
            raise ReadingError(
                f"the lowest reading {say(self.lowest)} is above the highest {say(self.highest)} {self.unit}",
                "the two look swapped: check which is which",
            )
        if self.count == 1 and self.lowest != self.highest:
            raise ReadingError(
                f"one reading cannot be both {say(self.lowest)} and {say(self.highest)} {self.unit}",
                "give how many readings the range was taken from, at least 2",
            )
        if self.samples and (min(self.samples), max(self.samples), len(self.samples)) != (
            self.lowest,
            self.highest,
            self.count,
        ):
            raise ReadingError("the samples and the range do not agree", "give only one of them")

    @classmethod
    def single(cls, value: float, unit: str) -> Reading:
        """One figure read once."""
        return cls(value, value, 1, unit)

    @classmethod
    def from_samples(cls, values: Iterable[float], unit: str) -> Reading:
        """Every figure as it was read, in order."""
        samples = tuple(finite(value, "a sample") for value in values)
        if not samples:
            raise ReadingError("there is no sample", "take the readings and write each one down")
        return cls(min(samples), max(samples), len(samples), unit, samples)

    @property
    def centre(self) -> float:
        """Mean of the samples; without them, middle of the range."""
        return fmean(self.samples) if self.samples else (self.lowest + self.highest) / 2

    @property
    def deviation(self) -> float | None:
        """Experimental standard deviation s, from two samples on (JCGM 100, 4.2.2)."""
        return stdev(self.samples) if len(self.samples) > 1 else None

    def to(self, target: str) -> Reading:
        """The same reading in another unit of the same kind."""
        if unit(target).symbol == self.unit:
            return self
        samples = tuple(convert(value, self.unit, target) for value in self.samples)
        low, high = convert(self.lowest, self.unit, target), convert(self.highest, self.unit, target)
        return Reading(low, high, self.count, target, samples)

    def shifted(self, by: float) -> Reading:
        """The reading as it would be with `by` (same unit) added to every figure."""
        samples = tuple(value + by for value in self.samples)
        return replace(self, lowest=self.lowest + by, highest=self.highest + by, samples=samples)

    def __str__(self) -> str:
        if self.lowest == self.highest:
            return f"{say(self.lowest)} {self.unit}"
        return f"{say(self.lowest)} to {say(self.highest)} {self.unit}"


@dataclass(frozen=True, slots=True)
class Limit:
    """What is accepted, where that is written, and how many readings it asks for.

    `inclusive` is False where the source says "less than" rather than "not more than".
    """

    low: float | None
    high: float | None
    unit: str
    source: str
    min_count: int | None = None
    inclusive: bool = True

    def __post_init__(self) -> None:
        object.__setattr__(self, "unit", unit(self.unit).symbol)
        if self.low is None and self.high is None:
            raise ReadingError("the limit has neither a low nor a high end", "copy it from the procedure")
        ends = [finite(end, "a limit") for end in (self.low, self.high) if end is not None]
        if ends != sorted(ends):
            raise ReadingError(
                f"the low limit {say(ends[0])} is above the high limit {say(ends[1])} {self.unit}",
                "the two look swapped: check them against the procedure",
            )
        if not self.source.strip():
            raise ReadingError("the limit does not say where it is from", "name the procedure it stands in")
        _checked_count(self.min_count, "the number of readings the limit asks for")

    def to(self, target: str) -> Limit:
        """The same limit in another unit of the same kind."""
        low = None if self.low is None else convert(self.low, self.unit, target)
        high = None if self.high is None else convert(self.high, self.unit, target)
        return replace(self, low=low, high=high, unit=target)

    def __str__(self) -> str:
        if self.low is None or self.high is None:
            end = self.high if self.low is None else self.low
            word = (
                ("at most" if self.inclusive else "below")
                if self.low is None
                else ("at least" if self.inclusive else "above")
            )
            return f"{word} {say(end or 0.0)} {self.unit}"
        return f"{say(self.low)} to {say(self.high)} {self.unit}"


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Expanded uncertainty U of the measurement, as its certificate or procedure states it."""

    expanded: float
    unit: str
    k: float = 2.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "unit", unit(self.unit).symbol)
        positive(self.expanded, "the expanded uncertainty")
        positive(self.k, "the coverage factor")

    def to(self, target: str) -> Uncertainty:
        """The same uncertainty in another unit; it is a difference, not a point on a scale."""
        return replace(self, expanded=convert_difference(self.expanded, self.unit, target), unit=target)
