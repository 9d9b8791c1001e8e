"""Clock, direction of force and damage code against the published vocabulary of crash investigation.

Not used here, because the engine reads no such field: police-report codes (MMUCC), injury scales, manoeuvres.
Nor are the research bounds of rear (5 to 7 o'clock) and side hits (2 to 4, 8 to 10): area is no clock.
"""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.load.crash import (
    CrashError,
    clock_of,
    decode,
    direction_of,
    from_damage_code,
    from_recorder,
)

# SAE J224 columns, by the European damage form (read) except column 6, which is from memory.
THIRDS = {"L": "L", "C": "C", "R": "R", "Y": "LC", "Z": "CR", "D": "LCR"}
LENGTHS = {"F": "F", "P": "P", "B": "B", "Y": "FP", "Z": "PB", "D": "FPB"}
HEIGHTS = "LMGHEA"
KINDS = "WNSOAEKU"
CLOCKS = [f"{tens + hour:02}" for tens in (0, 20, 40, 60, 80) for hour in range(1, 13)]


@pytest.mark.parametrize(
    ("degrees", "hour"),
    [
        # NASS CDS practice, from memory: 0 is ahead, clockwise, 30 degrees an hour, the nearest hour
        (0, 12),
        (10, 12),
        (350, 12),
        (360, 12),
        (20, 1),
        (40, 1),
        (90, 3),
        (180, 6),
        (270, 9),
        (340, 11),
        (15, 1),  # a convention of ours: the source leaves half-way open
    ],
)
def test_direction_to_clock(degrees: float, hour: int) -> None:
    assert clock_of(degrees) == hour


@given(st.integers(0, 359))
def test_clock_is_the_published_formula(degrees: int) -> None:  # NASS CDS practice, from memory
    assert clock_of(degrees) == (((degrees + 15) // 30) % 12 or 12)


def test_tens_of_degrees_never_lie_half_way() -> None:  # NASS records degrees in tens, so there are no ties
    assert all((degrees + 15) % 30 for degrees in range(0, 360, 10))


def test_the_sign_trap() -> None:
    """The EU DaCoTA manual counts counter-clockwise: its +90 is left, ours is right."""
    assert clock_of(90) == 3
    assert clock_of((360 - 90) % 360) == 9


@pytest.mark.parametrize(
    ("longitudinal", "lateral", "degrees", "hour", "resultant"),
    [
        (-20, -10, 26.6, "1", 22.36),  # geometry with the signs of 49 CFR 563.5
        (0, 15, 270.0, "9", 15.0),
        (15, 0, 180.0, "6", 15.0),
    ],
)
def test_direction_from_the_recorder(
    longitudinal: float, lateral: float, degrees: float, hour: str, resultant: float
) -> None:
    assert direction_of(longitudinal, lateral) == pytest.approx(degrees, abs=0.05)
    found = {item.fact: item.value for item in from_recorder(longitudinal, lateral)}
    assert found == {"delta_v": resultant, "force_clock": hour}


@given(st.floats(0.1, 200), st.floats(0, 359.99))
def test_a_direction_survives_the_way_through_the_recorders_axes(speed: float, degrees: float) -> None:
    """Geometry: a force from `degrees` changes the velocity by the opposite vector."""
    from math import cos, radians, sin

    back = direction_of(-speed * cos(radians(degrees)), -speed * sin(radians(degrees)))
    assert back is not None
    assert 0 <= back < 360
    assert min(abs(back - degrees), 360 - abs(back - degrees)) < 1e-6


@pytest.mark.parametrize(
    ("code", "clock", "side", "thirds", "height", "kind", "extent"),
    [
        # Composed from the columns, from memory
        ("12FDEW2", 12, "front", ("left", "centre", "right"), "below the belt line", "wide", 2),
        ("09LPAW3", 9, "left", ("passenger compartment",), "full height", "wide", 3),
        ("06BDEW1", 6, "rear", ("left", "centre", "right"), "below the belt line", "wide", 1),
    ],
)
def test_damage_code_examples(
    code: str, clock: int, side: str, thirds: tuple[str, ...], height: str, kind: str, extent: int
) -> None:
    read = decode(code)
    assert read is not None
    assert (read.clock, read.side, read.thirds, read.height) == (clock, side, thirds, height)
    assert (read.kind, read.extent, read.shift) == (kind, extent, None)


def test_a_roll_with_the_whole_top_damaged() -> None:  # composed from the columns, from memory
    read = decode("00TDDO3")
    assert read is not None
    assert (read.clock, read.side, read.kind, read.extent, read.zones) == (0, "top", "rollover", 3, ("rt",))
    assert (len(read.thirds), read.height) == (3, "left and centre and right")


def test_00_under_is_the_underside() -> None:  # composed from the columns, from memory
    read = decode("00UDDU1")
    assert read is not None
    assert (read.clock, read.side, read.zones) == (0, "under", ("uf", "um", "ub"))


def test_area_and_clock_are_independent() -> None:
    """University of Washington page: a sideswipe by an overtaking car is area left, force from 6 o'clock."""
    found = {item.fact: item.value for item in from_damage_code("06LDAS1")}
    assert found["force_clock"] == "6"
    assert found["area"] == ("left",)
    assert found["zone"] == ("lf", "lm", "lq")


def test_clock_ranges_of_2022() -> None:  # SAE J224-2022: 01-12, 21-32, 41-52, 61-72, 81-92
    good = set(CLOCKS) | {"00", "99"}
    for number in range(100):
        code = f"{number:02}FDEW2"
        if f"{number:02}" in good:
            assert decode(code) is not None
        else:
            with pytest.raises(CrashError) as caught:
                decode(code)
            assert caught.value.position == 1


def test_33_is_not_a_clock() -> None:  # SAE J224-2022
    with pytest.raises(CrashError):
        decode("33FDEW2")


def test_a_shifted_end_keeps_its_clock() -> None:  # SAE J224: +20, 40, 60, 80; which way, from memory
    shifts = {0: None, 20: "up", 40: "down", 60: "right", 80: "left"}
    for added, shift in shifts.items():
        read = decode(f"{added + 11:02}FLEW3")
        assert read is not None
        assert (read.clock, read.shift) == (11, shift)


def test_the_unknown_code_says_nothing() -> None:  # help page of a German in-depth accident database
    assert decode("99-7-0-9-0-0-0") is None
    assert from_damage_code("99-7-0-9-0-0-0") == []


def test_every_code_can_be_read_and_told_apart() -> None:
    """Round trip over all columns: two codes never read the same, and zones follow from column 4."""
    seen = set()
    for clock, side, kind, extent in product(("12", "00", "72"), "FBLR", KINDS, "19"):
        for place, height in product(THIRDS if side in "FB" else LENGTHS, HEIGHTS):
            read = decode(f"{clock}{side}{place}{height}{kind}{extent}")
            assert read is not None
            assert len(read.zones) == len((THIRDS if side in "FB" else LENGTHS)[place])
            seen.add(read)
    assert len(seen) == 3 * 4 * 6 * 6 * len(KINDS) * 2


@pytest.mark.parametrize(
    ("code", "zones"),
    [
        # Column 4 by the European damage form; left and right are the vehicle's own.
        ("12FLEW1", ("fl",)),
        ("12FYEW1", ("fl", "fc")),
        ("12FZEW1", ("fc", "fr")),
        ("06BREW1", ("br",)),
        ("03RYAW1", ("rf", "rm")),
        ("09LZAW1", ("lm", "lq")),
        ("00UPCW1", ("um",)),
    ],
)
def test_zones_by_column_4(code: str, zones: tuple[str, ...]) -> None:
    read = decode(code)
    assert read is not None
    assert read.zones == zones
