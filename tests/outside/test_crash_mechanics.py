"""Delta-V from closing speed and masses against published mechanics of impact.

Not used here, because the engine takes no crush depths: force balance, crush energy, class stiffness tables.
"""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.load.crash import (
    HIGH_SPEED_RESTITUTION,
    LOW_SPEED_DELTA_V_KMH,
    LOW_SPEED_RESTITUTION,
    delta_v,
    from_closing_speed,
)

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()
MASSES = st.floats(500, 40_000)
SPEEDS = st.floats(0, 200)
RESTITUTIONS = st.floats(0, 1)


@pytest.mark.parametrize(
    ("closing", "mass", "other", "restitution", "first", "second"),
    [
        (20, 1500, 1500, 0.0, 10, 10),  # B. McHenry, Algorithms of CRASH: momentum with restitution
        (20, 1500, 1500, 0.3, 13, 13),
        (30, 1000, 2000, 0.1, 22, 11),  # computed
    ],
)
def test_momentum_with_restitution(
    closing: float, mass: float, other: float, restitution: float, first: float, second: float
) -> None:
    assert delta_v(closing, mass, other, restitution) == pytest.approx(first)
    assert delta_v(closing, other, mass, restitution) == pytest.approx(second)
    assert from_closing_speed(closing, mass, other, restitution)[0].value == pytest.approx(first)


@given(SPEEDS, MASSES, MASSES, RESTITUTIONS)
def test_momentum_is_conserved(closing: float, mass: float, other: float, restitution: float) -> None:
    """m1 dV1 = m2 dV2, always (conservation)."""
    one, two = delta_v(closing, mass, other, restitution), delta_v(closing, other, mass, restitution)
    assert mass * one == pytest.approx(other * two)


@given(SPEEDS, MASSES, MASSES, RESTITUTIONS)
def test_restitution_is_the_ratio_of_separation_to_closing(
    closing: float, mass: float, other: float, restitution: float
) -> None:
    """The definition of restitution, same paper: both delta-Vs together are (1 + e) times closing speed."""
    both = delta_v(closing, mass, other, restitution) + delta_v(closing, other, mass, restitution)
    assert both == pytest.approx(closing * (1 + restitution))


@given(st.floats(0.1, 200), MASSES)
def test_energy_form_agrees_for_a_plastic_impact(closing: float, mass: float) -> None:
    """CRASH3, from memory: dV1 = sqrt(2 g1 (E1+E2) / (m1 (1 + g1 m1 / (g2 m2)))).

    With g = 1, equal masses and E = m vc^2 / 4 it gives vc / 2.
    """
    energy = mass * closing**2 / 4
    assert math.sqrt(2 * energy / (mass * 2)) == pytest.approx(delta_v(closing, mass, mass, 0))


def test_a_fixed_object_is_an_infinite_mass() -> None:  # limit of the same formula
    assert delta_v(20, 1500, math.inf, 0.0) == 20
    assert from_closing_speed(20, 1500, math.inf, 0.1)[0].value == 22


def test_units() -> None:  # pint; 1 mph is 1.609344 km/h exactly, so 5 mph is not 8 km/h
    assert (5 * UNITS.mile / UNITS.hour).to("km/hour").magnitude == pytest.approx(LOW_SPEED_DELTA_V_KMH)
    assert pytest.approx(8.04672) == LOW_SPEED_DELTA_V_KMH


def test_low_and_high_speed_restitution() -> None:
    """SAE 931842 abstract: clustered 0.2 to 0.4 at 2 to 5 mph of delta-V, about 0.1 at higher speed."""
    assert LOW_SPEED_RESTITUTION == 0.4
    assert HIGH_SPEED_RESTITUTION == 0.1
    assert from_closing_speed(10, 1500, 1500)[0].value == pytest.approx(7.0)
    assert from_closing_speed(60, 1500, 1500)[0].value == pytest.approx(33.0)


@pytest.mark.parametrize(("mph", "flagged"), [(4, False), (40, True)])
def test_a_bouncy_fast_impact_is_flagged(mph: float, flagged: bool) -> None:
    """SAE 931842 abstract: 0.3 is plausible at 4 mph and not at 40 mph."""
    closing = mph * 1.609344
    assert ("high for this speed" in from_closing_speed(closing, 1500, 1500, 0.3)[0].formula) == flagged


def test_it_is_only_ever_an_estimate() -> None:
    """Gabler et al.: delta-V is hard to estimate in sideswipes, against narrow objects and in rollovers."""
    assert from_closing_speed(30, 1500, 1200, 0.1)[0].estimate
