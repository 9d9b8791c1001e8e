"""Reference weights: what was placed, and how far that may be from its stamp (OIML R 111-1:2004)."""

from __future__ import annotations

from collections.abc import Iterable
from math import sqrt

from ..model.record import dataclass
from .figures import ReadingError, exact, nearest, positive, say, whole
from .units import convert, convert_difference, same_kind, unit

# Maximum permissible errors in mg, R 111-1:2004 table 1. Classes M1-2 and M2-3 begin at 50 kg.
_CLASSES = ("E1", "E2", "F1", "F2", "M1", "M1-2", "M2", "M2-3", "M3")
# fmt: off
_MPE_MG: dict[int, tuple[float | None, ...]] = {
    1: (0.5, 1.6, 5, 16, 50, None, 160, None, 500),
    2: (1, 3, 10, 30, 100, None, 300, None, 1000),
    5: (2.5, 8, 25, 80, 250, None, 800, None, 2500),
    10: (5, 16, 50, 160, 500, None, 1600, None, 5000),
    20: (10, 30, 100, 300, 1000, None, 3000, None, 10000),
    50: (25, 80, 250, 800, 2500, 5000, 8000, 16000, 25000),
}
# fmt: on


@dataclass(frozen=True, slots=True)
class ReferenceWeight:
    """`number` equal weights of one nominal mass; class None when it is not marked or not known."""

    nominal: float
    unit: str
    number: int = 1
    weight_class: str | None = None

    def __post_init__(self) -> None:
        positive(self.nominal, "the nominal mass of a weight")
        same_kind(self.unit, "kg")
        object.__setattr__(self, "unit", unit(self.unit).symbol)
        whole(self.number, 1, 1000, "the number of weights")
        if self.weight_class is not None and self.weight_class not in _CLASSES:
            near = nearest(self.weight_class, _CLASSES)
            hint = f"did you mean {near}?" if near else f"use one of {', '.join(_CLASSES)}"
            raise ReadingError(f"`{self.weight_class}` is not an OIML R 111 class", hint)

    @property
    def permissible_error(self) -> float | None:
        """Largest permissible error of one weight in kg; None without a class."""
        return (
            None
            if self.weight_class is None
            else permissible_error(self.nominal, self.unit, self.weight_class)
        )


@dataclass(frozen=True, slots=True)
class Stack:
    """Everything placed at once. The two tolerances are None as soon as one weight has no class.

    `worst`: all weights err the same way (n a). `independent`: each errs on its own (sqrt(n) a).
    """

    mass: float
    unit: str
    number: int
    worst: float | None
    independent: float | None


def permissible_error(nominal: float, mass_unit: str, weight_class: str) -> float:
    """Maximum permissible error of one weight, in kg."""
    kilograms = convert(nominal, mass_unit, "kg")
    row = _MPE_MG.get(int(kilograms)) if kilograms == int(kilograms) else None
    found = row[_CLASSES.index(weight_class)] if row and weight_class in _CLASSES else None
    if found is None:
        raise ReadingError(
            f"OIML R 111 has no limit here for a {say(nominal)} {mass_unit} weight of class {weight_class}",
            f"use weights of {', '.join(str(kg) for kg in _MPE_MG)} kg, or leave the class out",
        )
    return float(exact(found) / 1_000_000)


def stack(weights: Iterable[ReferenceWeight], display: str) -> Stack:
    """Total mass and tolerance of the weights placed, in the unit the tool displays."""
    placed = tuple(weights)
    if not placed:
        raise ReadingError("no reference weight is named", "write number, mass and unit of what was placed")
    mass = sum((exact(convert(w.nominal, w.unit, display)) * w.number for w in placed), start=exact(0))
    errors = [(w.number, w.permissible_error) for w in placed]
    known = [(n, convert_difference(a, "kg", display)) for n, a in errors if a is not None]
    complete = len(known) == len(placed)
    return Stack(
        mass=float(mass),
        unit=unit(display).symbol,
        number=sum(w.number for w in placed),
        worst=sum(n * a for n, a in known) if complete else None,
        independent=sqrt(sum(n * a * a for n, a in known)) if complete else None,
    )
