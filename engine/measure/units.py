"""Units of readings: a closed list, converted exactly by pint, refused with the nearest name.

The list is closed because a general parser accepts too much: it reads `kilos` as kiloseconds and `mil` as an
angle, and it would turn counts into degrees since both have no dimension.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import Any

from ..model.record import dataclass
from .figures import ReadingError, finite, nearest

# fmt: off
# kind -> {unit as we print it: (name in pint, other spellings)}
_KINDS: dict[str, dict[str, tuple[str, str]]] = {
    "mass": {
        "kg": ("kilogram", "kilogram kilograms kilo kilos kgs"),
        "g": ("gram", "gram grams"), "mg": ("milligram", ""),
        "lb": ("pound", "lbs pound pounds"), "oz": ("ounce", "ounce ounces"),
    },
    "force": {"N": ("newton", "newton newtons"), "kN": ("kilonewton", ""), "lbf": ("force_pound", "")},
    "length": {
        "m": ("meter", "metre meter metres meters"), "cm": ("centimeter", ""), "mm": ("millimeter", ""),
        "µm": ("micrometer", "um μm micron microns micrometre micrometer micrometres micrometers"),
        "km": ("kilometer", ""), "in": ("inch", "inch inches"),
        "ft": ("foot", "foot feet"), "mi": ("mile", ""), "mil": ("thou", "mils thou"),
    },
    "area": {"mm²": ("millimeter ** 2", "mm^2 mm2"), "cm²": ("centimeter ** 2", "cm^2 cm2")},
    "volume": {"L": ("liter", "l litre liter"), "mL": ("milliliter", "ml")},
    "angle": {
        "deg": ("degree", "° degree degrees"), "arcmin": ("arcminute", "minute_of_arc"),
        "mrad": ("milliradian", ""), "rad": ("radian", ""),
    },
    "angular rate": {"deg/s": ("degree / second", "°/s")},
    "resistance": {
        "ohm": ("ohm", "ohms Ω Ohm"), "mohm": ("milliohm", "mΩ milliohm"),
        "kohm": ("kiloohm", "kΩ kiloohm kilohm"), "Mohm": ("megaohm", "MΩ megaohm megohm"),
        "Gohm": ("gigaohm", "GΩ"),
    },
    "resistance per volt": {
        "ohm/V": ("ohm / volt", "Ω/V ohm/volt"), "kohm/V": ("kiloohm / volt", "kΩ/V"),
        "Mohm/V": ("megaohm / volt", "MΩ/V"),
    },
    "voltage": {"V": ("volt", "volt volts"), "mV": ("millivolt", ""), "kV": ("kilovolt", "")},
    "current": {"A": ("ampere", "amp amps"), "mA": ("milliampere", "")},
    "power": {"W": ("watt", ""), "kW": ("kilowatt", "")},
    "temperature": {
        "°C": ("degree_Celsius", "degC C"), "°F": ("degree_Fahrenheit", "degF F"), "K": ("kelvin", "kelvin"),
    },
    "time": {
        "s": ("second", "sec second seconds"), "ms": ("millisecond", ""),
        "min": ("minute", "minute minutes"), "h": ("hour", "hour hours"), "d": ("day", "day days"),
        "year": ("year", "years"),
    },
    "speed": {"km/h": ("kilometer / hour", "kph kmh"), "mph": ("mile / hour", "")},
    "pressure": {
        "kPa": ("kilopascal", ""), "Pa": ("pascal", ""), "MPa": ("megapascal", ""), "bar": ("bar", ""),
        "mbar": ("millibar", ""), "psi": ("pound_force_per_square_inch", ""),
    },
    "torque": {
        "Nm": ("newton * meter", "N*m N·m"), "lbf·ft": ("force_pound * foot", "lbf*ft lb-ft ft-lb ft-lbf"),
    },
    "frequency": {"Hz": ("hertz", ""), "kHz": ("kilohertz", ""), "rpm": ("revolution / minute", "")},
    "illuminance": {"lx": ("lux", "lux")},
    "count": {"count": ("count", "counts")},
    "share": {"%": ("percent", "percent")},
}
# fmt: on
_KIND = {symbol: kind for kind, units in _KINDS.items() for symbol in units}
_PINT = {symbol: name for units in _KINDS.values() for symbol, (name, _) in units.items()}
_SPELLINGS = {
    spelling: symbol
    for units in _KINDS.values()
    for symbol, (_, others) in units.items()
    for spelling in (symbol, *others.split())
}


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of the list: as it is printed, and what it is a unit of."""

    symbol: str
    kind: str


@lru_cache(maxsize=1)
def _registry() -> Any:
    """Pint's registry, loaded once and only when something is converted; fractions keep the pound exact."""
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


def unit(text: str | None) -> Unit:
    """The unit a person wrote, or a `ReadingError` when there is none or it is not in the list."""
    name = (text or "").strip()
    if not name:
        raise ReadingError("the figure has no unit", "write the unit the instrument shows, such as kg or lb")
    symbol = _SPELLINGS.get(name)
    if symbol is None:
        near = nearest(name, tuple(_SPELLINGS))
        hint = (
            f"did you mean {near}?"
            if near
            else "write the unit the instrument shows, such as kg, lb, µm, deg, V or ohm/V"
        )
        raise ReadingError(f"`{name}` is not a unit that readings are taken in", hint)
    return Unit(symbol, _KIND[symbol])


def known_units(kind: str | None = None) -> tuple[str, ...]:
    """Every unit of the list as it is printed, or those of one kind."""
    return tuple(symbol for symbol, own in _KIND.items() if kind in (None, own))


def same_kind(source: str, target: str) -> None:
    """Raise a `ReadingError` when the two units do not measure the same thing."""
    a, b = unit(source), unit(target)
    if a.kind != b.kind:
        raise ReadingError(
            f"`{a.symbol}` is a unit of {a.kind}, `{b.symbol}` of {b.kind}; they cannot be compared",
            f"give the figure in {', '.join(known_units(b.kind))}",
        )


def convert(value: float, source: str, target: str) -> float:
    """`value` in another unit of the same kind; exact but for the last rounding to a float."""
    return _convert(value, source, target, difference=False)


def convert_difference(value: float, source: str, target: str) -> float:
    """A difference (margin, shift, uncertainty) in another unit: 1 °C of difference is 1.8 °F."""
    return _convert(value, source, target, difference=True)


def _convert(value: float, source: str, target: str, *, difference: bool) -> float:
    same_kind(source, target)
    a, b = unit(source), unit(target)
    if a == b:
        return finite(value, "the figure")
    delta = "delta_" if difference and a.kind == "temperature" else ""
    names = [name if name == "kelvin" else delta + name for name in (_PINT[a.symbol], _PINT[b.symbol])]
    typed = Fraction(repr(finite(value, "the figure")))
    return float(_registry().Quantity(typed, names[0]).to(names[1]).magnitude)
