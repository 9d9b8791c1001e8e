"""Turns what a person or an instrument says of the blow into facts: from where, how hard, on which area.

It never decides severity, and it never overwrites what was told: `compare` lists where the two part ways.

Direction: 0 degrees is a force from straight ahead, clockwise seen from above, 30 degrees to the clock hour.
Recorder signs (49 CFR 563.5): longitudinal is positive forward, lateral positive from left to right.
Damage code: seven characters after SAE J224, with the clock ranges of its 2022 edition.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations, compress, product

from ..model.record import dataclass

Value = str | float | tuple[str, ...]

HOURS = 12
# Staged low-speed impacts cluster at 0.2 to 0.4 up to 5 mph of delta-V, faster ones near 0.1. Of a range we
# take the end that gives the larger delta-V, because an estimate may make work but must not talk it away.
LOW_SPEED_DELTA_V_KMH = 5 * 1.609344
LOW_SPEED_RESTITUTION, HIGH_SPEED_RESTITUTION = 0.4, 0.1
# How far two delta-Vs may lie apart before somebody must be asked: the recorder's own accuracy (49 CFR
# 563.8, from memory), and a quarter where one of the two is an estimate (common practice).
RECORDER_TOLERANCE, ESTIMATE_TOLERANCE, FLOOR_KMH = 0.10, 0.25, 1.0
UNKNOWN_CODE = "99709000"
# Twenty is added to the clock for each kind of shifted end; which twenty is which way is from memory.
_SHIFTS = (None, "up", "down", "right", "left")
_SIDES = {"F": "front", "R": "right", "B": "rear", "L": "left", "T": "top", "U": "under"}
_ACROSS = {"L": "L", "C": "C", "R": "R", "Y": "LC", "Z": "CR", "D": "LCR"}
_ALONG = {"F": "F", "P": "P", "B": "B", "Y": "FP", "Z": "PB", "D": "FPB"}
_THIRDS = {"L": "left", "C": "centre", "R": "right", "F": "front", "P": "passenger compartment", "B": "back"}
_HEIGHTS = {"A": "full height", "E": "below the belt line", "G": "belt line and above", "H": "above the rail",
            "L": "below the rail", "M": "rail to belt line"}  # fmt: skip
_KINDS = {"W": "wide", "N": "narrow", "S": "sideswipe", "O": "rollover", "A": "overhang", "E": "corner",
          "K": "conversion", "U": "no residual deformation"}  # fmt: skip
# A hood and a trunk lid are "top" to the damage code but no roof to a body shop: only its middle is zone rt.
_ZONES = {"F": {"L": "fl", "C": "fc", "R": "fr"}, "B": {"L": "bl", "C": "bc", "R": "br"},
          "L": {"F": "lf", "P": "lm", "B": "lq"}, "R": {"F": "rf", "P": "rm", "B": "rq"},
          "T": {"P": "rt"}, "U": {"F": "uf", "P": "um", "B": "ub"}}  # fmt: skip


class CrashError(ValueError):
    """One input that cannot be right: its column or name, what was expected, and what to do."""

    def __init__(self, cause: str, position: int | str, expected: str, next_step: str) -> None:
        super().__init__(cause)
        self.cause, self.position, self.expected, self.next_step = cause, position, expected, next_step


@dataclass(frozen=True)
class Computed:
    """One fact worked out, with the sentence saying from what; an estimate rests on more than readings."""

    fact: str
    value: Value
    unit: str | None
    formula: str
    estimate: bool = False


@dataclass(frozen=True)
class Disagreement:
    """Two answers to one fact that cannot both stand: a told one (its formula is `told`) or two computed."""

    one: Computed
    other: Computed
    because: str


@dataclass(frozen=True)
class DamageCode:
    """A damage code by columns; `clock` is None where the direction is unknown, 0 if not horizontal."""

    clock: int | None
    shift: str | None
    side: str
    thirds: tuple[str, ...]
    height: str
    kind: str
    extent: int
    zones: tuple[str, ...]


def clock_of(degrees: float) -> int:
    """The nearest clock hour; half-way goes to the later hour (a convention, as records are kept in tens)."""
    return math.floor((degrees + 15) / 30) % HOURS or HOURS


def from_direction(degrees: float) -> list[Computed]:
    """The clock hour of a principal direction of force."""
    if not 0 <= degrees <= 360:
        turn = "where the report counts counter-clockwise or from -180, turn its angle round first"
        raise CrashError(f"{degrees:g} degrees", "pdof", "0 to 360, clockwise from ahead", turn)
    said = f"the principal direction of force, {degrees:g} degrees clockwise from ahead"
    return [_clock(clock_of(degrees), said)]


def decode(code: str) -> DamageCode | None:
    """The damage code by columns; None for the code that says nothing is known."""
    plain = code.strip().upper().replace("-", "")
    if plain == UNKNOWN_CODE:
        return None
    if len(plain) != 7:
        raise _bad_column(code, min(len(plain), 7) + 1, "seven characters, as 12FDEW2")
    clock, shift = _clock_columns(code, plain[:2])
    side = _column(code, plain, 3, _SIDES)
    flat = plain[2] in "TU"
    places = _column(code, plain, 4, _ACROSS if plain[2] in "FB" else _ALONG)
    fifth = _column(code, plain, 5, _ACROSS if flat else _HEIGHTS)
    height = " and ".join(_THIRDS[third] for third in fifth) if flat else fifth
    kind = _column(code, plain, 6, _KINDS)
    extent = int(_column(code, plain, 7, {digit: digit for digit in "123456789"}))
    zones = tuple(_ZONES[plain[2]][place] for place in places if place in _ZONES[plain[2]])
    return DamageCode(clock, shift, side, tuple(_THIRDS[p] for p in places), height, kind, extent, zones)


def from_damage_code(code: str) -> list[Computed]:
    """The facts a damage code settles; a narrow pattern names no object, an extent zone no severity."""
    read = decode(code)
    if read is None:
        return []
    said = f"damage code {code.strip().upper()}: {' and '.join(read.thirds)}, {read.kind}"
    said += f", extent zone {read.extent}" + (f", end shifted {read.shift}" if read.shift else "")
    found = [] if read.clock is None else [_clock(read.clock, said)]
    found.append(Computed("area", (read.side,), None, said))
    if read.zones:
        found.append(Computed("zone", read.zones, None, said))
    holds = (read.kind == "rollover", read.side == "under", read.shift is not None)
    certain = compress(("rollover", "under_strike", "struct_displaced"), holds)
    return found + [Computed(fact, "yes", None, said) for fact in certain]


def direction_of(longitudinal: float, lateral: float) -> float | None:
    """Degrees of the force that gave this change of velocity: a body is thrown away from where it was hit."""
    _finite(longitudinal=longitudinal, lateral=lateral)
    if not longitudinal and not lateral:
        return None
    # Adding zero turns a negative zero into a plain one; without it a pure rear hit could come out as -180.
    return math.degrees(math.atan2(0.0 - lateral, 0.0 - longitudinal)) % 360 % 360


def from_recorder(longitudinal: float, lateral: float | None = None) -> list[Computed]:
    """Delta-V in km/h, and the clock hour where the recorder gives both axes."""
    degrees = direction_of(longitudinal, lateral or 0)
    if lateral is None:
        said = f"the recorder's longitudinal delta-V, {longitudinal:g} km/h; no lateral one is recorded"
        return [Computed("delta_v", round(abs(longitudinal), 2), "km/h", said)]
    axes = f"the recorder's delta-V, {longitudinal:g} km/h forward and {lateral:g} km/h to the right"
    resultant = round(math.hypot(longitudinal, lateral), 2)
    found = [Computed("delta_v", resultant, "km/h", f"{axes}, both axes together")]
    if degrees is not None:
        found.append(_clock(clock_of(degrees), f"{axes}: the force came from {degrees:.1f} degrees"))
    return found


def delta_v(closing: float, mass: float, other_mass: float, restitution: float) -> float:
    """Change of velocity of the first body in a central impact along one line, momentum with restitution."""
    return closing * (1 + restitution) / (1 + mass / other_mass)


def from_closing_speed(
    closing: float, mass: float, other_mass: float, restitution: float | None = None
) -> list[Computed]:
    """An estimate of delta-V (km/h) from closing speed and masses; an infinite mass is a fixed object."""
    _finite(closing_speed=closing, own_mass=mass, restitution=restitution or 0)
    for name, good, expected in (
        ("closing_speed", closing >= 0, "0 or more"),
        ("own_mass", mass > 0, "more than 0"),
        ("other_mass", other_mass > 0, "more than 0"),
        ("restitution", 0 <= (restitution or 0) <= 1, "0 to 1"),
    ):
        if not good:
            raise CrashError(f"`{name}` is out of range", name, expected, "check it against the report")
    if restitution is None:
        slow = delta_v(closing, mass, other_mass, LOW_SPEED_RESTITUTION)
        fast = delta_v(closing, mass, other_mass, HIGH_SPEED_RESTITUTION)
        # Taking the larger keeps the estimate from falling where the range ends: faster is never less.
        value, used = max(min(slow, LOW_SPEED_DELTA_V_KMH), fast), "the cautious end of published restitution"
    else:
        value, used = delta_v(closing, mass, other_mass, restitution), f"restitution {restitution:g}"
        if restitution >= LOW_SPEED_RESTITUTION / 2 and value > LOW_SPEED_DELTA_V_KMH:
            used += ", which is high for this speed"
    said = f"closing speed {closing:g} km/h, masses {mass:g} and {other_mass:g} kg, {used}; by momentum"
    return [Computed("delta_v", round(value, 2), "km/h", said, True)]


def compare(told: Mapping[str, object], computed: Sequence[Computed]) -> list[Disagreement]:
    """Where the case and a computation, or two computations, part ways; what nobody told is left out."""
    given = [Computed(fact, value, None, "told") for fact, value in _answers(told)]
    pairs = [*product(given, computed), *combinations(computed, 2)]
    found = [(one, other, _differs(one, other)) for one, other in pairs if one.fact == other.fact]
    return [Disagreement(one, other, because) for one, other, because in found if because]


def _differs(one: Computed, other: Computed) -> str | None:
    if one.fact == "force_clock":
        return _clocks_differ(str(one.value), str(other.value))
    if isinstance(other.value, tuple):
        said = one.value if isinstance(one.value, tuple) else (str(one.value),)
        missing = sorted(set(other.value) - set(said))
        return f"not among the first: {', '.join(missing)}" if missing else None
    if isinstance(one.value, int | float) and isinstance(other.value, int | float):
        share = ESTIMATE_TOLERANCE if one.estimate or other.estimate else RECORDER_TOLERANCE
        allowed = max(FLOOR_KMH, share * max(one.value, other.value))
        return f"more than {allowed:.1f} km/h apart" if abs(one.value - other.value) > allowed else None
    return None if one.value == other.value else "the answers differ"


def _clocks_differ(one: str, other: str) -> str | None:
    if not (one.isdigit() and other.isdigit()):
        return None if one == other else "one says a direction in the horizontal plane, the other none"
    apart = abs(int(one) - int(other)) % HOURS
    return "more than one clock hour apart" if min(apart, HOURS - apart) > 1 else None


def _answers(told: Mapping[str, object]) -> Iterator[tuple[str, Value]]:
    for fact, answer in told.items():
        if isinstance(answer, str | int | float):
            yield fact, answer
        elif isinstance(answer, Iterable):
            yield fact, tuple(sorted(str(item) for item in answer))


def _clock(hour: int, formula: str) -> Computed:
    return Computed("force_clock", str(hour) if hour else "none", None, formula)


def _clock_columns(code: str, plain: str) -> tuple[int | None, str | None]:
    if plain in ("00", "99"):  # 99 beside otherwise known columns: practice of crash files, from memory
        return (0, None) if plain == "00" else (None, None)
    twenties, hour = divmod(int(plain), 20) if plain.isascii() and plain.isdigit() else (0, 0)
    if not 1 <= hour <= HOURS:
        raise _bad_column(code, 1, "00, 01-12, 21-32, 41-52, 61-72, 81-92 or 99")
    return hour, _SHIFTS[twenties]


def _column(code: str, plain: str, position: int, table: Mapping[str, str]) -> str:
    character = plain[position - 1]
    if character not in table:
        raise _bad_column(code, position, f"one of {' '.join(sorted(table))}")
    return table[character]


def _bad_column(code: str, position: int, expected: str) -> CrashError:
    again = "read the code again from the report, or leave it out and answer clock and area"
    return CrashError(f"damage code {code!r} at column {position}", position, expected, again)


def _finite(**numbers: float) -> None:
    for name, number in numbers.items():
        if not math.isfinite(number):
            raise CrashError(f"{name} is {number}", name, "a finite number", "leave it out")
