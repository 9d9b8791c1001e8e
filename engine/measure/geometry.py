"""Thrust angle against its limit, and how far it throws a calibration target off.

Toe-in is positive; a positive thrust angle points to the right of the vehicle's centreline.
"""

from __future__ import annotations

from ..model.record import dataclass, replace
from .figures import ReadingError, say
from .reading import Limit, Reading, Uncertainty
from .units import convert, unit
from .verdict import Judgement, Outcome, judge


@dataclass(frozen=True, slots=True)
class ThrustFinding:
    """The thrust angle in degrees, its verdict, and what follows for targets squared to the body."""

    degrees: float
    judgement: Judgement
    note: str


def thrust_from_toe(left: float, right: float, toe_unit: str) -> Reading:
    """Thrust angle from the two rear toe angles: half of left minus right."""
    if unit(toe_unit).kind != "angle":
        raise ReadingError(
            f"rear toe is given in {unit(toe_unit).symbol}; the thrust angle needs angles",
            "read toe in deg or arcmin: toe in mm depends on the wheel it was taken on",
        )
    return Reading.single((left - right) / 2, toe_unit)


def assess(thrust: Reading, limit: Limit | None, uncertainty: Uncertainty | None = None) -> ThrustFinding:
    """Judge a thrust angle; a limit written as one figure holds to both sides."""
    verdict = judge(thrust, None if limit is None else both_sides(limit), uncertainty)
    degrees = convert(thrust.centre, thrust.unit, "deg")
    side = "right" if degrees > 0 else "left"
    way = "straight ahead" if degrees == 0 else f"{say(abs(degrees))} deg to the {side}"
    held = {
        Outcome.WITHIN: "square targets to the thrust line",
        Outcome.OUTSIDE: "bring the rear axle into its limits before any sensor is calibrated to it",
        Outcome.NOT_CONCLUSIVE: "settle the thrust angle before any sensor is calibrated to it",
    }[verdict.outcome]
    return ThrustFinding(degrees, verdict, f"the rear axle steers {way}; {held}")


def both_sides(limit: Limit) -> Limit:
    """`at most 0.1` for an angle with a sign means -0.1 to 0.1."""
    if limit.low is not None or limit.high is None:
        return limit
    if limit.high < 0:
        raise ReadingError(f"a limit of {say(limit.high)} {limit.unit} leaves nothing", "check the procedure")
    return replace(limit, low=-limit.high)
