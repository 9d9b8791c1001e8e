"""The decision rule: a reading against a limit is within, outside or not conclusive, with the next step.

Simple acceptance unless an expanded uncertainty U is given; then a guard band w = U (JCGM 106, 8.3): within
is claimed only inside the limits by U or more, outside only beyond them by more than U (ISO 14253-1).
"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from math import erfc, sqrt

from ..model.record import dataclass
from .figures import ReadingError, exact, positive, say
from .reading import Limit, Reading, Uncertainty


class Outcome(StrEnum):
    """The three answers a comparison can give."""

    WITHIN = "within"
    OUTSIDE = "outside"
    NOT_CONCLUSIVE = "not conclusive"


@dataclass(frozen=True, slots=True)
class Judgement:
    """One verdict. Margins run from the nearer end of the range to the limit; negative means beyond it."""

    outcome: Outcome
    rule: str
    reason: str
    next_step: str
    reading: Reading
    limit: Limit | None = None
    margin_low: float | None = None
    margin_high: float | None = None
    accept_low: float | None = None
    accept_high: float | None = None
    probability: float | None = None


@dataclass(frozen=True, slots=True)
class _Zone:
    """Limits and guard band as the decimals they were typed in, so that on the limit is on the limit."""

    low: Decimal | None
    high: Decimal | None
    guard: Decimal
    inclusive: bool

    def accepts(self, value: Decimal) -> bool:
        below = self.low is not None and not self._up_to(self.low + self.guard, value)
        above = self.high is not None and not self._up_to(value, self.high - self.guard)
        return not (below or above)

    def beyond(self, lowest: Decimal, highest: Decimal) -> bool:
        """The whole range lies beyond one limit by more than the guard band."""
        under = self.low is not None and not self._up_to(self.low - self.guard, highest)
        over = self.high is not None and not self._up_to(lowest, self.high + self.guard)
        return under or over

    @property
    def empty(self) -> bool:
        return (
            self.low is not None and self.high is not None and self.low + self.guard > self.high - self.guard
        )

    def _up_to(self, a: Decimal, b: Decimal) -> bool:
        return a <= b if self.inclusive else a < b


def judge(reading: Reading, limit: Limit | None, uncertainty: Uncertainty | None = None) -> Judgement:
    """Compare a range with its limit under the stated rule; figures come back in the limit's unit."""
    if limit is None:
        return Judgement(
            Outcome.NOT_CONCLUSIVE,
            "none: no limit",
            f"the reading is {reading}, but no limit is on file",
            "look up the limit in the repair procedure and write it under `procedures:` in the case",
            reading,
        )
    reading = reading.to(limit.unit)
    stated = None if uncertainty is None else uncertainty.to(limit.unit)
    guard = Decimal(0) if stated is None else exact(stated.expanded)
    low, high = (None if end is None else exact(end) for end in (limit.low, limit.high))
    zone = _Zone(low, high, guard, limit.inclusive)
    lowest, highest = exact(reading.lowest), exact(reading.highest)
    outcome, reason, step = _decide(reading, limit, zone, lowest, highest)
    return Judgement(
        outcome,
        _rule(stated),
        reason,
        step,
        reading,
        limit,
        margin_low=None if low is None else float(lowest - low),
        margin_high=None if high is None else float(high - highest),
        accept_low=None if low is None else float(low + guard),
        accept_high=None if high is None else float(high - guard),
        probability=None if stated is None else _worst_probability(reading, limit, stated),
    )


def _rule(stated: Uncertainty | None) -> str:
    if stated is None:
        return "simple acceptance: the whole range against the limits (JCGM 106)"
    width = f"{say(stated.expanded)} {stated.unit}, k = {say(stated.k)}"
    return f"guard band w = U = {width} (JCGM 106, ISO 14253-1)"


def _decide(
    reading: Reading, limit: Limit, zone: _Zone, lowest: Decimal, highest: Decimal
) -> tuple[Outcome, str, str]:
    against = f"{reading} against {limit}"
    wanted = limit.min_count
    if wanted is not None and (reading.count is None or reading.count < wanted):
        taken = "their number was not recorded" if reading.count is None else f"{reading.count} taken"
        return (
            Outcome.NOT_CONCLUSIVE,
            f"too few readings: {taken}, {wanted} asked for",
            f"take at least {wanted} readings over the stated time and record lowest, highest and count",
        )
    if zone.accepts(lowest) and zone.accepts(highest):
        return Outcome.WITHIN, f"the whole range lies within: {against}", "record the range beside the limit"
    if zone.beyond(lowest, highest):
        return (
            Outcome.OUTSIDE,
            f"the whole range lies outside: {against}",
            "find the cause before anything is adjusted or replaced, then measure again",
        )
    if zone.empty:
        return (
            Outcome.NOT_CONCLUSIVE,
            f"the uncertainty is as wide as the limits: {against}",
            "measure with equipment whose uncertainty is small against the limits",
        )
    if zone.guard:
        return (
            Outcome.NOT_CONCLUSIVE,
            f"within the uncertainty of a limit, so neither is proved: {against}",
            "measure again with a smaller uncertainty or a steadier reading",
        )
    return (
        Outcome.NOT_CONCLUSIVE,
        f"the range straddles a limit: {against}",
        "find what makes the reading move, let it settle, and repeat with more readings",
    )


def _worst_probability(reading: Reading, limit: Limit, stated: Uncertainty) -> float:
    """Conformance probability at the end of the range where it is least."""
    u = stated.expanded / stated.k
    ends = (reading.lowest, reading.highest)
    return min(conformance_probability(end, u, limit.low, limit.high) for end in ends)


def conformance_probability(
    value: float, u: float, low: float | None = None, high: float | None = None
) -> float:
    """Probability that the true value conforms, for a normal distribution (JCGM 106, clause 7)."""
    positive(u, "the standard uncertainty")
    if low is None and high is None:
        raise ReadingError("there is no limit to conform to", "give a low limit, a high limit or both")
    below = 0.0 if low is None else _phi((low - value) / u)
    above = 0.0 if high is None else _phi((value - high) / u)
    return max(0.0, 1.0 - below - above)


def _phi(z: float) -> float:
    return erfc(-z / sqrt(2)) / 2
