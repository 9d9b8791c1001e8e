"""Isolation, thrust angle and film thickness: refusals, cautions and verdicts. All figures invented."""

from __future__ import annotations

import pytest
from knockon.engine.measure import film, geometry, isolation
from knockon.engine.measure.figures import ReadingError
from knockon.engine.measure.film import FilmPoint
from knockon.engine.measure.isolation import IsolationTest
from knockon.engine.measure.reading import Limit, Reading
from knockon.engine.measure.verdict import Outcome
from knockon.engine.model.record import replace

FLOOR = Limit(100, None, "ohm/V", "procedure")
TEST = IsolationTest(vb=400, v1=320, v2=80, ro=200e3, nominal=400, v1_with=200)


@pytest.mark.parametrize(
    ("change", "part"),
    [
        ({"vb": 0}, "bus voltage Vb"),
        ({"ro": -1}, "known resistor Ro"),
        ({"nominal": 0}, "nominal voltage"),
        ({"v1": 401}, "V1 is 401 V beside a bus voltage of 400 V"),
        ({"v2": -1}, "V2 is -1 V"),
        ({"v1": 0, "v2": 0}, "both zero"),
        ({"v1_with": None}, "between the negative side and the chassis"),
        ({"v1": 80, "v2": 320}, "between the positive side and the chassis"),
    ],
)
def test_isolation_readings_that_cannot_be(change: dict[str, float | None], part: str) -> None:
    with pytest.raises(ReadingError, match=part):
        isolation.assess(replace(TEST, **change), FLOOR)  # type: ignore[arg-type]


def test_isolation_never_calls_an_unread_circuit_dead() -> None:
    with pytest.raises(ReadingError) as caught:
        isolation.assess(replace(TEST, v1=0, v2=0), FLOOR)
    assert "do not treat the circuit as dead" in caught.value.next_step


def test_isolation_cautions() -> None:
    assert isolation.assess(TEST, FLOOR).cautions == ()
    low = isolation.assess(replace(TEST, nominal=420), FLOOR)
    assert "at least the nominal 420 V" in low.cautions[0]
    apart = isolation.assess(replace(TEST, v2=50), FLOOR)
    assert "should agree" in apart.cautions[0]


def test_isolation_without_a_floor_is_worked_out_but_not_judged() -> None:
    found = isolation.assess(TEST, None)
    assert found.ohm == pytest.approx(150e3)
    assert found.judgement.outcome is Outcome.NOT_CONCLUSIVE


THRUST = Limit(None, 0.1, "deg", "procedure")


@pytest.mark.parametrize(
    ("left", "right", "degrees", "outcome", "side"),
    [
        (0.3, 0.0, 0.15, Outcome.OUTSIDE, "right"),
        (0.0, 0.3, -0.15, Outcome.OUTSIDE, "left"),
        (0.1, 0.0, 0.05, Outcome.WITHIN, "right"),
        (0.1, 0.1, 0.0, Outcome.WITHIN, "straight ahead"),
    ],
)
def test_thrust_from_rear_toe(left: float, right: float, degrees: float, outcome: Outcome, side: str) -> None:
    found = geometry.assess(geometry.thrust_from_toe(left, right, "deg"), THRUST)
    assert found.degrees == pytest.approx(degrees)
    assert found.judgement.outcome is outcome
    assert side in found.note


def test_a_thrust_angle_in_minutes_against_a_limit_in_degrees() -> None:
    assert geometry.assess(Reading.single(-6, "arcmin"), THRUST).judgement.outcome is Outcome.WITHIN
    assert geometry.assess(Reading.single(-6.1, "arcmin"), THRUST).judgement.outcome is Outcome.OUTSIDE
    assert geometry.assess(Reading.single(1, "deg"), None).judgement.outcome is Outcome.NOT_CONCLUSIVE


def test_a_limit_with_two_ends_is_left_as_it_is() -> None:
    limit = Limit(-0.05, 0.1, "deg", "procedure")
    assert geometry.both_sides(limit) is limit
    with pytest.raises(ReadingError, match="leaves nothing"):
        geometry.both_sides(Limit(None, -0.1, "deg", "procedure"))


def test_thrust_refuses_lengths() -> None:
    with pytest.raises(ReadingError, match="needs angles"):
        geometry.thrust_from_toe(1, 1, "mm")


FILM = Limit(None, 150, "um", "procedure", min_count=3)


def points(*values: float, unit: str = "µm") -> tuple[FilmPoint, ...]:
    return tuple(FilmPoint(f"point {i}", Reading.single(v, unit)) for i, v in enumerate(values, 1))


def test_the_worst_point_decides_and_not_the_mean() -> None:
    found = film.assess(points(100, 110, 160), FILM)
    assert found.mean == pytest.approx(370 / 3)
    assert found.outcome is Outcome.OUTSIDE
    assert found.worst.name == "point 3"
    assert "outside at point 3" in found.reason
    assert "calibrate no radar behind it" in found.next_step


def test_film_within_reports_mean_and_thickest() -> None:
    found = film.assess(points(100, 110, 120), FILM)
    assert (found.outcome, found.mean, found.thickest) == (Outcome.WITHIN, 110, 120)


def test_film_too_thin_is_worst_where_a_low_limit_says_so() -> None:
    limit = Limit(80, 150, "µm", "procedure")
    assert film.assess(points(81, 140), limit).worst.name == "point 1"


def test_film_with_too_few_points_is_not_conclusive_but_a_thick_one_is_outside() -> None:
    assert film.assess(points(100, 110), FILM).outcome is Outcome.NOT_CONCLUSIVE
    assert film.assess(points(100, 170), FILM).outcome is Outcome.OUTSIDE


def test_film_without_a_limit_names_the_thickest_point() -> None:
    found = film.assess(points(100, 130, 120), None)
    assert (found.outcome, found.worst.name) == (Outcome.NOT_CONCLUSIVE, "point 2")


def test_film_in_mil_against_a_limit_in_micrometres() -> None:
    assert film.assess(points(4, 5, 6, unit="mil"), FILM).thickest == pytest.approx(152.4)


@pytest.mark.parametrize(
    ("given", "part"),
    [
        ((), "no point"),
        (points(-5), "cannot be"),
        (points(5, unit="deg"), "is in deg"),
        ((*points(5), *points(6)), "given twice"),
    ],
)
def test_film_points_that_cannot_be(given: tuple[FilmPoint, ...], part: str) -> None:
    with pytest.raises(ReadingError, match=part):
        film.assess(given, FILM)
