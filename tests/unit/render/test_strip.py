"""The strip: what is accepted is drawn between the brackets, and only that. All figures invented."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.measure.reading import Limit, Reading
from knockon.engine.render.strip import strip

LIMIT = Limit(-3, 3, "kg", "procedure")


@pytest.mark.parametrize(
    ("limit", "earlier", "present", "line"),
    [
        (LIMIT, (0, 0.5), (-1.5, -1), "-3         [········####·····ooo··············]         3 kg"),
        (LIMIT, (0, 0.5), (0.4, 0.6), "-3         [·················oo@#·············]         3 kg"),
        (LIMIT, None, (2.5, 4), "-3         [·······························###]######   3 kg"),
        (LIMIT, None, (90, 91), "-3         [··································]       > 3 kg"),
        (
            Limit(None, 150, "µm", "x"),
            None,
            (120, 180),
            "·····················#####]#####                      150 µm",
        ),
        (
            Limit(500, None, "ohm/V", "x"),
            None,
            (375, 375),
            "500                   #      [························ ohm/V",
        ),
    ],
)
def test_pictures(
    limit: Limit, earlier: tuple[float, float] | None, present: tuple[float, float], line: str
) -> None:
    before = None if earlier is None else Reading(*earlier, None, limit.unit)
    assert strip(limit, before, Reading(*present, None, limit.unit), 60) == line


def test_readings_in_another_unit_land_in_the_same_place() -> None:
    present = Reading(-2, -1, 5, "kg")
    assert strip(LIMIT, None, present.to("lb")) == strip(LIMIT, None, present)


def test_a_hair_beyond_the_limit_is_drawn_beyond_it() -> None:
    assert "#[" in strip(LIMIT, None, Reading.single(-3.0001, "kg"))
    assert "]#" in strip(LIMIT, None, Reading.single(3.0001, "kg"))
    assert "[#" in strip(LIMIT, None, Reading.single(-3, "kg"))


figure = st.decimals(-20, 20, places=2).map(float)


@given(a=figure, b=figure, low=figure, high=figure, width=st.integers(1, 140))
def test_inside_is_between_the_brackets_and_outside_beyond(
    a: float, b: float, low: float, high: float, width: int
) -> None:
    (a, b), (low, high) = sorted((a, b)), sorted((low, high))
    line = strip(Limit(low, high, "V", "x"), None, Reading(a, b, None, "V"), width)
    picture = line.split(" ", 1)[1]
    left, rest = picture.split("[")
    inside, right = rest.split("]")
    right = right.rsplit(" ", 2)[0]
    assert ("#" in inside) == (b >= low and a <= high) or low == high
    assert ("#" in left or "<" in left) == (a < low)
    assert ("#" in right or ">" in right) == (b > high)
    assert "\n" not in line
    assert len(line) <= max(width, 24 + 16)
