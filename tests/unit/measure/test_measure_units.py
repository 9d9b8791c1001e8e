"""Units: the list, what is refused, and what the refusal says."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.measure.figures import ReadingError, say
from knockon.engine.measure.units import (
    convert,
    convert_difference,
    known_units,
    same_kind,
    unit,
)


@pytest.mark.parametrize(
    ("written", "symbol", "kind"),
    [
        ("kilos", "kg", "mass"),  # a general parser reads this as kiloseconds
        ("lbs", "lb", "mass"), ("um", "µm", "length"), ("μm", "µm", "length"), ("microns", "µm", "length"),
        ("mils", "mil", "length"), ("degC", "°C", "temperature"), ("°", "deg", "angle"),
        ("kΩ", "kohm", "resistance"), (" kg ", "kg", "mass"), ("counts", "count", "count"),
    ],
)  # fmt: skip
def test_spellings_of_the_trade(written: str, symbol: str, kind: str) -> None:
    found = unit(written)
    assert (found.symbol, found.kind) == (symbol, kind)


@pytest.mark.parametrize("nothing", [None, "", "  "])
def test_a_figure_without_a_unit_is_refused(nothing: str | None) -> None:
    with pytest.raises(ReadingError) as caught:
        unit(nothing)
    assert caught.value.cause == "the figure has no unit"
    assert "unit the instrument shows" in caught.value.next_step


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("Kg", "did you mean kg?"),
        ("LB", "did you mean lb?"),
        ("microms", "did you mean microns?"),
        ("MOHM", "did you mean mohm or Mohm?"),  # a thousand million apart: never guess
        ("??", "write the unit the instrument shows, such as kg, lb, µm, deg, V or ohm/V"),
    ],
)
def test_an_unknown_unit_is_refused_with_the_nearest_name(written: str, hint: str) -> None:
    with pytest.raises(ReadingError) as caught:
        unit(written)
    assert caught.value.next_step == hint
    assert f"`{written}`" in caught.value.cause


@pytest.mark.parametrize(
    ("source", "target"), [("kg", "mm"), ("count", "deg"), ("%", "deg"), ("lbf", "kg"), ("mm", "deg")]
)
def test_units_of_different_kinds_do_not_mix(source: str, target: str) -> None:
    with pytest.raises(ReadingError, match="cannot be compared"):
        convert(1, source, target)
    with pytest.raises(ReadingError):
        same_kind(source, target)


def test_every_unit_converts_within_its_kind_and_back() -> None:
    for symbol in known_units():
        for other in known_units(unit(symbol).kind):
            assert convert(convert(7.25, symbol, other), other, symbol) == pytest.approx(7.25)
            back = convert_difference(convert_difference(7.25, symbol, other), other, symbol)
            assert back == pytest.approx(7.25)


@given(st.decimals(min_value=-1000, max_value=1000, places=3).map(float))
def test_pounds_to_kilograms_and_back_gives_the_typed_figure(pounds: float) -> None:
    assert say(convert(convert(pounds, "lb", "kg"), "kg", "lb")) == say(pounds)


def test_a_reading_converted_onto_its_limit_is_on_it() -> None:
    assert convert(26.76194983, "kg", "lb") == 59.0


def test_the_unit_library_is_not_loaded_before_something_is_converted() -> None:
    code = "import sys, knockon.engine.measure.seat as s; print('pint' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"),
        (-0.0, "0"),
        (-2.405, "-2.405"),
        (216000, "216000"),
        (1e-7, "0.0000001"),
        (66.13867866, "66.1387"),
    ],
)
def test_figures_are_printed_plainly(value: float, text: str) -> None:
    assert say(value) == text
