"""High-voltage isolation resistance from measured voltages and a known resistor (UN R100 Annex 5, 1.2.3).

V1 is read from the negative side to the chassis, V2 from the positive side. The resistor goes across the side
with the higher reading, since that is the better insulated one; the result is then the weaker side.
The floor is the caller's: this module holds no legal or maker's limit.
"""

from __future__ import annotations

from typing import Literal

from ..model.record import dataclass
from .figures import ReadingError, positive, say
from .reading import Limit, Reading
from .verdict import Judgement, judge

# Beyond this share of the bus voltage, V1 + V2 no longer adds up and the readings were not of one moment.
_SUM_SHARE = 0.05

Side = Literal["positive", "negative", "both alike"]


@dataclass(frozen=True, slots=True)
class IsolationTest:
    """Readings of one test in volts and ohms, and the nominal voltage the result is divided by.

    `v1_with` and `v2_with` are read again with the known resistor `ro` fitted; only the one across the side
    with the higher reading counts.
    """

    vb: float
    v1: float
    v2: float
    ro: float
    nominal: float
    v1_with: float | None = None
    v2_with: float | None = None


@dataclass(frozen=True, slots=True)
class IsolationFinding:
    """Isolation of the weaker side, against the floor where one was given."""

    ohm: float
    ohm_per_volt: float
    weaker: Side
    judgement: Judgement
    cautions: tuple[str, ...]


def assess(test: IsolationTest, floor: Limit | None) -> IsolationFinding:
    """Isolation in ohm and ohm/V, its weaker side, and the verdict against `floor` (low limit in ohm/V)."""
    _possible(test)
    before, after, name = _resistor_side(test)
    if not 0 < after < before:
        raise ReadingError(
            f"{name} with the resistor is {say(after)} V and without it {say(before)} V, which cannot be: "
            "the resistor must pull the reading down",
            "check that the resistor is connected and intact; until then treat the circuit as not insulated",
        )
    ohm = test.ro * test.vb * (1 / after - 1 / before)
    per_volt = ohm / test.nominal
    weaker: Side = "both alike" if test.v1 == test.v2 else ("positive" if test.v1 > test.v2 else "negative")
    verdict = judge(Reading.single(per_volt, "ohm/V"), floor)
    return IsolationFinding(ohm, per_volt, weaker, verdict, _cautions(test))


def _possible(test: IsolationTest) -> None:
    positive(test.vb, "the bus voltage Vb")
    positive(test.ro, "the known resistor Ro")
    positive(test.nominal, "the nominal voltage")
    for value, name in ((test.v1, "V1"), (test.v2, "V2")):
        if not 0 <= value <= test.vb:
            raise ReadingError(
                f"{name} is {say(value)} V beside a bus voltage of {say(test.vb)} V, which cannot be",
                "check leads, polarity and range of the meter, and read Vb, V1 and V2 again",
            )
    if test.v1 == test.v2 == 0:
        raise ReadingError(
            "V1 and V2 are both zero, from which no isolation can be worked out",
            "check the meter and its chassis connection on a known voltage; do not treat the circuit as dead",
        )


def _resistor_side(test: IsolationTest) -> tuple[float, float, str]:
    """The reading without and with the resistor on the better side."""
    on_negative = test.v1 >= test.v2
    before, after, name = (test.v1, test.v1_with, "V1") if on_negative else (test.v2, test.v2_with, "V2")
    if after is None:
        side = "negative" if on_negative else "positive"
        raise ReadingError(
            f"{name} is the higher reading, and {name} with the resistor is missing",
            f"connect the known resistor between the {side} side and the chassis and read {name} again",
        )
    return before, after, name


def _cautions(test: IsolationTest) -> tuple[str, ...]:
    cautions = []
    if test.vb < test.nominal:
        cautions.append(
            f"measured at {say(test.vb)} V: the method asks for at least the nominal {say(test.nominal)} V"
        )
    if abs(test.v1 + test.v2 - test.vb) > _SUM_SHARE * test.vb:
        cautions.append(
            f"V1 + V2 is {say(test.v1 + test.v2)} V and Vb {say(test.vb)} V: they should agree; "
            "use a meter of 10 Mohm or more and read all three in steady state"
        )
    return tuple(cautions)
