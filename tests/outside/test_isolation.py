"""Isolation resistance by UN R100 Annex 5, 1.2.3, against worked examples and the circuit itself.

The floors (100 and 500 ohm/V, UN R100 5.1.3) are the test's: the engine holds none.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.measure.figures import ReadingError
from knockon.engine.measure.isolation import IsolationFinding, IsolationTest, assess
from knockon.engine.measure.reading import Limit, Reading
from knockon.engine.measure.verdict import Outcome, judge

DC = Limit(100, None, "ohm/V", "UN R100 5.1.3.1, direct current")
AC = Limit(500, None, "ohm/V", "UN R100 5.1.3.1, alternating current")


def circuit(r_plus: float, r_minus: float, vb: float, ro: float) -> IsolationTest:
    """Voltmeter readings that a bus with these two leakage resistances would give."""

    def across_minus(plus: float, minus: float) -> float:
        return vb * minus / (plus + minus)

    v1 = across_minus(r_plus, r_minus)
    if v1 >= vb - v1:
        with_ro = across_minus(r_plus, r_minus * ro / (r_minus + ro))
        return IsolationTest(vb, v1, vb - v1, ro, vb, v1_with=with_ro)
    with_ro = vb - across_minus(r_plus * ro / (r_plus + ro), r_minus)
    return IsolationTest(vb, v1, vb - v1, ro, vb, v2_with=with_ro)


@pytest.mark.parametrize(
    ("test", "ohm", "per_volt", "dc", "ac"),
    [
        # examples A, B and C: worked from the published formula
        (IsolationTest(400, 320, 80, 200e3, 400, 200), 150_000, 375, Outcome.WITHIN, Outcome.OUTSIDE),
        (IsolationTest(360, 200, 160, 180e3, 360, 120), 216_000, 600, Outcome.WITHIN, Outcome.WITHIN),
        (
            IsolationTest(400, 388.35, 11.65, 200e3, 400, 338.983),
            30_000,
            75,
            Outcome.OUTSIDE,
            Outcome.OUTSIDE,
        ),
    ],
)
def test_worked_examples(test: IsolationTest, ohm: float, per_volt: float, dc: Outcome, ac: Outcome) -> None:
    finding = assess(test, DC)
    # example C is printed with three decimals of a volt, which is worth 2 ohm here
    assert finding.ohm == pytest.approx(ohm, rel=1e-4)
    assert finding.ohm_per_volt == pytest.approx(per_volt, rel=1e-4)
    assert finding.judgement.outcome is dc
    assert assess(test, AC).judgement.outcome is ac


def test_older_form_of_571_305_s7_6_gives_the_same_result() -> None:
    """49 CFR 571.305 S7.6 (form from memory): Ro (1 + V2/V1) (V1 - V1') / V1' where Vb = V1 + V2."""
    older = 200e3 * (1 + 80 / 320) * ((320 - 200) / 200)
    assert older == pytest.approx(150_000)
    assert assess(IsolationTest(400, 320, 80, 200e3, 400, 200), DC).ohm == pytest.approx(older)


def test_equal_sides_of_200_kohm_give_500_ohm_per_volt() -> None:
    finding = assess(circuit(200e3, 200e3, 400, 150e3), AC)
    assert finding.ohm_per_volt == pytest.approx(500)
    assert finding.weaker == "both alike"


resistance = st.floats(1e3, 1e7)


@given(r_plus=resistance, r_minus=resistance, vb=st.floats(60, 1000), ro=st.floats(1e4, 1e6))
def test_the_formula_returns_the_weaker_side_whatever_the_resistor(
    r_plus: float, r_minus: float, vb: float, ro: float
) -> None:
    finding: IsolationFinding = assess(circuit(r_plus, r_minus, vb, ro), DC)
    assert finding.ohm == pytest.approx(min(r_plus, r_minus), rel=1e-6)
    if abs(r_plus - r_minus) > 1e-6 * r_plus:
        assert finding.weaker == ("positive" if r_plus < r_minus else "negative")
    assert finding.cautions == ()


@pytest.mark.parametrize("with_resistor", [320.0, 321.0, 0.0, -1.0])
def test_a_reading_the_resistor_did_not_pull_down_is_refused(with_resistor: float) -> None:
    with pytest.raises(ReadingError, match="must pull the reading down") as caught:
        assess(IsolationTest(400, 320, 80, 200e3, 400, with_resistor), DC)
    assert "treat the circuit as not insulated" in caught.value.next_step


@pytest.mark.parametrize(
    ("per_volt", "floor", "outcome"),
    [
        (499, AC, Outcome.OUTSIDE),  # 75 FR 33515: alternating current 500 ohm/V
        (100, DC, Outcome.WITHIN),  # monitored direct current 100 ohm/V
        (300, AC, Outcome.OUTSIDE),  # UN R100 5.1.3.2: joined and unprotected, 500 ohm/V
    ],
)
def test_published_floors(per_volt: float, floor: Limit, outcome: Outcome) -> None:
    assert judge(Reading.single(per_volt, "ohm/V"), floor).outcome is outcome


@pytest.mark.parametrize(("ohm", "outcome"), [(0.0999, Outcome.WITHIN), (0.10, Outcome.OUTSIDE)])
def test_bonding_must_be_below_a_tenth_of_an_ohm(ohm: float, outcome: Outcome) -> None:
    """UN R100 5.1.2.2: less than 0.1 ohm, so 0.10 fails."""
    limit = Limit(None, 0.1, "ohm", "UN R100 5.1.2.2", inclusive=False)
    assert judge(Reading.single(ohm, "ohm"), limit).outcome is outcome
