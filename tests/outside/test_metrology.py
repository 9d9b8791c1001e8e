"""Published metrology: type A evaluation, decision rules, reference weights, exact units.

"From memory" marks a figure whose document was not open when it was written down.
"""

from __future__ import annotations

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.measure.reading import Limit, Reading, Uncertainty
from knockon.engine.measure.units import convert, convert_difference
from knockon.engine.measure.verdict import Outcome, conformance_probability, judge
from knockon.engine.measure.weights import ReferenceWeight, permissible_error, stack
from scipy import stats

# JCGM 100:2008 (GUM) 4.4.3, table 1: twenty readings in degrees Celsius (data from memory; they
# reproduce the published mean, s and u)
GUM_TABLE_1 = (
    96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
    100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
)  # fmt: skip


def test_gum_table_1_gives_the_published_mean_and_deviation() -> None:
    reading = Reading.from_samples(GUM_TABLE_1, "°C")
    assert reading.count == 20
    assert reading.centre == pytest.approx(100.145, abs=5e-4)
    assert reading.deviation == pytest.approx(1.489, abs=5e-4)


def test_jcgm_106_clause_7_upper_limit_example() -> None:
    """JCGM 106:2012 clause 7, breakdown voltage of a diode (numbers from memory)."""
    assert conformance_probability(-5.47, 0.05, high=-5.40) == pytest.approx(0.9192, abs=5e-5)


def test_jcgm_106_clause_7_lower_limit_example() -> None:
    """JCGM 106:2012 clause 7, burst pressure of a container (numbers from memory)."""
    assert conformance_probability(509.7, 8.6, low=490) == pytest.approx(0.9890, abs=5e-5)


def test_jcgm_106_7_4_two_sided_interval() -> None:
    """JCGM 106:2012 7.4 (from memory): both tails count."""
    assert conformance_probability(0, 1, low=-1, high=1) == pytest.approx(0.6827, abs=5e-5)


@given(value=st.floats(-50, 50), u=st.floats(0.01, 20), low=st.floats(-40, 0), width=st.floats(0.1, 40))
def test_conformance_probability_agrees_with_a_general_statistics_library(
    value: float, u: float, low: float, width: float
) -> None:
    reference = stats.norm(value, u)
    expected = reference.cdf(low + width) - reference.cdf(low)
    assert conformance_probability(value, u, low, low + width) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("guard_in_u", "risk"),
    [
        (0.0, 0.5),  # ILAC-G8:09/2019 4.2.1, simple acceptance: up to 50 % at the limit
        (2.0, 0.0228),  # ILAC-G8 states <= 2.5 % for w = U with k = 2; the exact one-sided normal value
        (1.645, 0.0500),  # 5 % one-sided, normal distribution
    ],
)
def test_risk_of_false_acceptance_at_the_acceptance_limit(guard_in_u: float, risk: float) -> None:
    tolerance, u = 10.0, 0.2
    conforms = conformance_probability(tolerance - guard_in_u * u, u, high=tolerance)
    assert 1 - conforms == pytest.approx(risk, abs=5e-5)


def test_guard_band_of_ilac_g8_moves_the_acceptance_limit_inward_by_u() -> None:
    """ILAC-G8:09/2019 4.2.2, JCGM 106 8.3: TL 10, U 0.4 gives AL 9.6."""
    verdict = judge(Reading.single(9.6, "V"), Limit(None, 10, "V", "example"), Uncertainty(0.4, "V"))
    assert verdict.accept_high == 9.6
    assert verdict.outcome is Outcome.WITHIN
    assert verdict.probability == pytest.approx(0.9772, abs=5e-5)


@pytest.mark.parametrize(
    ("shown", "ilac_name", "outcome"),
    [
        (9.5, "pass", Outcome.WITHIN),
        (9.8, "conditional pass", Outcome.NOT_CONCLUSIVE),
        (10.2, "conditional fail", Outcome.NOT_CONCLUSIVE),
        (10.5, "fail", Outcome.OUTSIDE),
    ],
)
def test_non_binary_rule_with_guard_band(shown: float, ilac_name: str, outcome: Outcome) -> None:
    """ILAC-G8:09/2019 4.2.3; ISO 14253-1:2017 (from memory): between TL-U and TL+U neither is proved."""
    verdict = judge(Reading.single(shown, "V"), Limit(None, 10, "V", "example"), Uncertainty(0.4, "V"))
    assert verdict.outcome is outcome
    assert verdict.margin_high is not None
    assert (verdict.margin_high >= 0) == ("pass" in ilac_name)
    assert verdict.next_step


# OIML R 111-1:2004 table 1, in mg, as two public tables print it; M1-2 and M2-3 begin at 50 kg
R_111 = {
    1: {"E1": 0.5, "E2": 1.6, "F1": 5, "F2": 16, "M1": 50, "M2": 160, "M3": 500},
    2: {"E1": 1, "E2": 3, "F1": 10, "F2": 30, "M1": 100, "M2": 300, "M3": 1000},
    5: {"E1": 2.5, "E2": 8, "F1": 25, "F2": 80, "M1": 250, "M2": 800, "M3": 2500},
    10: {"E1": 5, "E2": 16, "F1": 50, "F2": 160, "M1": 500, "M2": 1600, "M3": 5000},
    20: {"E1": 10, "E2": 30, "F1": 100, "F2": 300, "M1": 1000, "M2": 3000, "M3": 10000},
    50: {
        "E1": 25, "E2": 80, "F1": 250, "F2": 800, "M1": 2500, "M1-2": 5000,
        "M2": 8000, "M2-3": 16000, "M3": 25000,
    },
}  # fmt: skip


@pytest.mark.parametrize(
    ("kilograms", "weight_class", "milligrams"),
    [(kg, name, mg) for kg, row in R_111.items() for name, mg in row.items()],
)
def test_oiml_r_111_maximum_permissible_errors(kilograms: int, weight_class: str, milligrams: float) -> None:
    assert permissible_error(kilograms, "kg", weight_class) == pytest.approx(milligrams * 1e-6, rel=1e-12)


@pytest.mark.parametrize(("found", "outcome"), [(10.0004, Outcome.WITHIN), (10.0006, Outcome.OUTSIDE)])
def test_a_10_kg_weight_of_class_m1_against_its_own_limit(found: float, outcome: Outcome) -> None:
    error = permissible_error(10, "kg", "M1")
    limit = Limit(10 - error, 10 + error, "kg", "OIML R 111-1:2004 table 1")
    assert judge(Reading.single(found, "kg"), limit).outcome is outcome


def test_stack_of_three_weights_of_class_m1() -> None:
    """JCGM 100:2008 5.2: fully correlated n a, independent sqrt(n) a; 1.5 g against 0.866 g."""
    placed = stack([ReferenceWeight(10, "kg", 3, "M1")], "g")
    assert placed.mass == 30_000
    assert placed.worst == pytest.approx(1.5)
    assert placed.independent == pytest.approx(0.866, abs=5e-4)
    assert placed.independent == pytest.approx(sqrt(3) * 0.5)


@pytest.mark.parametrize(
    ("value", "source", "target", "expected"),
    [
        (1, "lb", "kg", 0.45359237),  # exact by the agreement of 1959; NIST SP 811 (from memory)
        (100, "lb", "kg", 45.359237),
        (1, "in", "mm", 25.4),  # exact, NIST SP 811
        (1, "mil", "µm", 25.4),
        (5, "mph", "km/h", 8.04672),  # 1 mph = 1.609344 km/h exactly
        (0, "°C", "°F", 32),
    ],
)
def test_units_defined_exactly_convert_exactly(
    value: float, source: str, target: str, expected: float
) -> None:
    assert convert(value, source, target) == expected


@pytest.mark.parametrize(
    ("value", "source", "target", "expected"),
    [(1, "psi", "kPa", 6.894757), (35, "psi", "kPa", 241.3165)],  # NIST SP 811
)
def test_units_given_to_seven_figures(value: float, source: str, target: str, expected: float) -> None:
    assert convert(value, source, target) == pytest.approx(expected, rel=1e-6)


def test_a_difference_of_temperature_has_no_offset() -> None:
    assert convert_difference(1, "°C", "°F") == 1.8
