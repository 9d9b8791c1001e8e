"""From a log entry to its verdict: which maths applies, which limit, and what wins. All limits invented."""

from __future__ import annotations

from textwrap import dedent

import pytest
from knockon.engine.measure.log_readings import assess_entry
from knockon.engine.model.program import Program
from written import judged, procedure, read, said_of_readings, written

SEAT = procedure(
    "ocs_check",
    "{empty: {low: -3, high: 3, unit: kg}, loaded: {low: 27, high: 33, unit: kg, minimum_count: 5}}",
)
BATTERY = procedure("lv_battery_test", "{battery voltage: {low: 12.4, unit: V, minimum_count: 2}}")
ISOLATION = procedure("hv_iso_test", "{isolation: {low: 500, unit: ohm/V}}")
FILM = procedure("film_measure", "{film thickness: {high: 150, unit: µm, minimum_count: 3}}")
WEIGHTS = "weights: {nominal: 10, unit: kg, number: 3, class: M1}"


def battery(readings: str, result: str = "") -> str:
    stated = f"result: {result}, " if result else ""
    return f"- {{at: 2026-03-05, did: lv_battery_test, {stated}readings: {{battery voltage: {readings}}}}}"


@pytest.mark.parametrize(
    ("readings", "stated", "outcome"),
    [
        ("{low: 12.5, high: 12.6, count: 3, unit: V}", "", "pass"),
        ("{samples: [12.4, 12.5], unit: V}", "pass", "pass"),
        ("{low: 12000, high: 12100, count: 2, unit: mV}", "", "fail"),
        ("{low: 12.0, high: 12.1, count: 2, unit: V}", "pass", "fail"),  # the reading wins
        ("{low: 12.3, high: 12.6, count: 2, unit: V}", "pass", ""),  # straddles: nothing is proved
        ("{value: 12.6, unit: V}", "", ""),  # too few
        ("{low: 12.5, high: 12.6, count: 3, unit: V}", "fail", "fail"),  # somebody saw more than the figure
        ("{low: 12.5, high: 12.6, count: 3, unit: V}", "aborted", "aborted"),
        ("{low: 12.5, high: 12.6, count: 3, unit: V, uncertainty: {value: 0.2, unit: V}}", "", ""),
        ("{low: 12.7, high: 12.8, count: 3, unit: V, uncertainty: {value: 0.2, unit: V, k: 2}}", "", "pass"),
    ],
)
def test_the_outcome_of_a_plain_reading(program: Program, readings: str, stated: str, outcome: str) -> None:
    found = judged(battery(readings, stated), program, BATTERY)
    assert found.outcome == outcome
    assert found.remarks or outcome in ("pass", "aborted")


def test_a_pass_that_its_readings_contradict_is_named(program: Program) -> None:
    found = judged(battery("{low: 12.0, high: 12.1, count: 2, unit: V}", "pass"), program, BATTERY)
    assert found.remarks[0] == "stated as passed, but the readings are outside: the readings count"
    assert found.readings[0].limit_from == "manual 4"
    assert found.readings[0].limit_low == 12.4


def test_what_is_not_conclusive_says_the_next_step(program: Program) -> None:
    found = judged(battery("{value: 12.6, unit: V}"), program, BATTERY)
    assert any("take at least 2 readings" in remark for remark in found.remarks)


def test_without_a_limit_a_stated_result_stands_and_an_unstated_one_does_not(program: Program) -> None:
    assert judged(battery("{value: 12.6, unit: V}", "pass"), program).outcome == "pass"
    found = judged(battery("{value: 12.6, unit: V}"), program)
    assert found.outcome == ""
    assert "look up the limit" in found.remarks[0]


def test_the_limit_of_a_maker_pack_is_used_where_the_case_has_none(program: Program) -> None:
    from knockon.engine.model.record import replace

    maker = replace(program, limits={"lv_battery_test": {"battery voltage": {"low": 12, "unit": "V"}}})
    assert judged(battery("{value: 12.6, unit: V}"), maker).readings[0].limit_from == "the maker's pack"
    assert judged(battery("{value: 12.2, unit: V}"), maker).outcome == "pass"
    two = "{low: 12.2, high: 12.2, count: 2, unit: V}"
    assert judged(battery(two), maker, BATTERY).outcome == "fail"  # the case's own procedure comes first


def test_a_quantity_that_needs_no_limit_is_only_kept(program: Program) -> None:
    mileage = "readings: {mileage: {value: 48210, unit: km}}"
    found = judged(f"- {{at: 2026-03-05, did: intake_interview, result: pass, {mileage}}}", program)
    assert found.outcome == "pass"


def seat(empty: str, loaded: str | None, returned: str | None, did: str = "ocs_check") -> str:
    steps = [f"empty: {{{empty}, unit: kg}}"]
    steps += [f"loaded: {{{loaded}, unit: kg, {WEIGHTS}}}"] if loaded else []
    steps += [f"returned: {{{returned}, unit: kg}}"] if returned else []
    return f"- {{at: 2026-03-05, did: {did}, readings: {{{', '.join(steps)}}}}}"


def test_a_seat_check_is_judged_as_a_whole(program: Program) -> None:
    found = judged(seat("low: 0, high: 0.2", "low: 30, high: 30.2, count: 9", "value: 0.1"), program, SEAT)
    assert found.outcome == "pass"
    assert [r.name for r in found.readings] == ["empty", "loaded", "returned"]
    assert any("zero calibration is not required" in r for r in found.remarks)


@pytest.mark.parametrize(
    ("empty", "loaded", "returned", "outcome", "remark"),
    [
        ("low: 4, high: 4.2", "low: 34, high: 34.2, count: 9", "value: 4.1", "fail", "it looks like: offset"),
        ("low: 0, high: 0.2", "low: 25, high: 25.2, count: 9", "value: 0.1", "fail", "gain or bent frame"),
        ("low: 0, high: 0.2", "low: 30, high: 30.2, count: 9", "value: 5", "fail", "does not return to zero"),
        ("low: 0, high: 0.2", "low: 30, high: 30.2, count: 2", "value: 0.1", "", "at least 5 readings"),
        ("low: 0, high: 0.2", None, "value: 0.1", "", "place the reference weights"),
        ("low: 0, high: 0.2", "low: 30, high: 30.2, count: 9", None, "", "take the weights off"),
    ],
)
def test_what_a_seat_check_looks_like(
    program: Program, empty: str, loaded: str | None, returned: str | None, outcome: str, remark: str
) -> None:
    found = judged(seat(empty, loaded, returned), program, SEAT)
    assert found.outcome == outcome
    assert any(remark in r for r in found.remarks), found.remarks


def test_a_reading_beside_a_seat_check_does_not_decide_it(program: Program) -> None:
    log = seat("low: 0, high: 0.2", "low: 30, high: 30.2, count: 9", "value: 0.1")
    log = log.replace("readings: {", "readings: {ambient temperature: {value: 21, unit: °C}, ")
    found = judged(log, program, SEAT)
    assert found.outcome == "pass"
    assert found.readings[-1].verdict == "recorded"


def test_the_first_look_at_a_seat_needs_no_weights(program: Program) -> None:
    limits = procedure("ocs_check_early", "{empty: {low: -3, high: 3, unit: kg}}")
    assert judged(seat("low: 0, high: 0.2", None, None, "ocs_check_early"), program, limits).outcome == "pass"


def test_drift_is_told_against_the_latest_look_at_the_same_sensor(program: Program) -> None:
    log = """
        - {at: 2026-03-03, did: ocs_check_early, readings: {empty: {low: 0.1, high: 0.2, unit: kg}}}
        - {at: 2026-03-04, did: ocs_check_early, readings: {empty reading: {low: 0.5, high: 0.6, unit: kg}}}
    """
    last = seat("low: -1.2, high: -1", "low: 29, high: 29.2, count: 9", "value: -1.1")
    found = judged(dedent(log) + last, program, SEAT)
    assert (found.readings[0].earlier_low, found.readings[0].earlier_high) == (0.5, 0.6)
    assert found.remarks[0].startswith("the empty reading moved by -1.65 kg since the reading of 2026-03-04")


def test_a_zero_calibration_ends_what_can_be_compared(program: Program) -> None:
    log = """
        - {at: 2026-03-03, did: ocs_check_early, readings: {empty: {low: 4.1, high: 4.2, unit: kg}}}
        - {at: 2026-03-04, did: ocs_zero, result: pass}
        - {at: 2026-03-05, did: ocs_check_early, readings: {empty: {low: 0.1, high: 0.2, unit: kg}}}
    """
    found = judged(log, program)
    assert found.readings[0].earlier_low is None


HV = "vb: {value: 400, unit: V}, nominal: {value: 400, unit: V}, resistor: {value: 200, unit: kohm}"


@pytest.mark.parametrize(("v1", "v2", "with_", "outcome"), [(220, 180, 100, "pass"), (320, 80, 220, "fail")])
def test_isolation_is_worked_out_from_its_readings(
    program: Program, v1: int, v2: int, with_: int, outcome: str
) -> None:
    read_ = {"v1": v1, "v2": v2, "with_resistor": with_}
    volts = ", ".join(f"{name}: {{value: {value}, unit: V}}" for name, value in read_.items())
    log = f"- {{at: 2026-03-05, did: hv_iso_test, readings: {{isolation: {{{HV}, {volts}}}}}}}"
    found = judged(log, program, ISOLATION)
    ohm = 200_000 * 400 * (1 / with_ - 1 / v1)
    assert found.outcome == outcome
    assert found.readings[0].low == pytest.approx(ohm / 400)
    assert "weaker side: positive" in found.remarks[0]


@pytest.mark.parametrize(("middle", "outcome"), [(120, "pass"), (151, "fail")])
def test_one_thick_point_of_film_is_enough(program: Program, middle: int, outcome: str) -> None:
    points = ", ".join(
        f"{n}: {{value: {v}, unit: um}}" for n, v in (("left", 90), ("middle", middle), ("right", 88))
    )
    log = f"- {{at: 2026-03-05, did: film_measure.rear, readings: {{film: {{{points}}}}}}}"
    found = judged(log, program, FILM)
    assert found.outcome == outcome
    assert "worst point middle" in found.remarks[0]


def test_film_with_a_point_left_out_is_not_conclusive(program: Program) -> None:
    log = "- {at: 2026-03-05, did: film_measure.rear, readings: {film: {left: {value: 90, unit: um}}}}"
    assert judged(log, program, FILM).outcome == ""


def test_thrust_from_the_rear_toe_against_one_figure_for_both_sides(program: Program) -> None:
    limits = procedure("align_measure", "{thrust angle: {high: 0.1, unit: deg}}")
    log = "- {at: 2026-03-05, did: align_measure, readings: {rear_toe: {left: 0.05, right: 0.35, unit: deg}}}"
    found = judged(log, program, limits)
    assert found.outcome == "fail"
    assert "steers 0.15 deg to the left" in found.remarks[0]
    plain = "- {at: 2026-03-05, did: align_measure, readings: {thrust angle: {value: -0.05, unit: deg}}}"
    assert judged(plain, program, limits).outcome == "pass"


@pytest.mark.parametrize(
    ("did", "codes", "stated", "outcome"),
    [
        ("scan_post", "[{code: 96A123, status: 0x2F}]", "pass", "fail"),
        ("scan_post", "[{code: B16A1}]", "", "fail"),
        ("scan_post", "[{code: B16A1-23, status: 0x50}]", "pass", ""),  # cleared, nothing has run yet
        ("scan_post", "[{code: B16A1-23, status: 0x00}]", "", "pass"),
        ("scan_post", "[]", "pass", "pass"),
        ("scan_post", "[]", "", ""),  # an empty list proves nothing by itself
        ("scan_pre", "[{code: 96A123, status: 0x2F}]", "pass", "pass"),  # finding codes is what it is for
    ],
)
def test_a_scan_is_judged_where_a_rule_acts_on_its_failure(
    program: Program, did: str, codes: str, stated: str, outcome: str
) -> None:
    result = f"result: {stated}, " if stated else ""
    found = judged(f"- {{at: 2026-03-05, did: {did}, {result}readings: {{codes: {codes}}}}}", program)
    assert found.outcome == outcome


def test_a_code_is_decoded_with_its_status(program: Program) -> None:
    log = "- {at: 2026-03-05, did: scan_pre, result: pass, readings: {codes: [{code: 96A123, status: 0x2F}]}}"
    assert judged(log, program).remarks[0] == "B16A1-23 (body; meaning set by: maker): confirmed, failed"


@pytest.mark.parametrize(
    ("readings", "cause"),
    [
        ("{low: 12.6, high: 12.5, unit: V}", "the lowest reading 12.6 is above the highest 12.5 V"),
        ("{low: 12.5, high: 12.6, unit: volts per day}", "is not a unit that readings are taken in"),
        ("{low: 12.5, high: 12.6, unit: ''}", "the figure has no unit"),
        ("{low: 12.5, high: 12.6, unit: kg}", "they cannot be compared"),
        ("{low: 12.5, unit: V}", "a reading is a range, samples or one value"),
        ("{low: 1, high: 2, value: 3, unit: V}", "exactly one of them"),
        ("{samples: [1, 2], count: 3, unit: V}", "2 samples, but a count of 3"),
        ("{low: 1, high: 2, count: 0, unit: V}", "the number of readings is 0"),
        ("{low: 1, high: 2, count: 1, unit: V}", "one reading cannot be both"),
        ("{value: 1e400, unit: V}", "not a number"),
        ("{value: 12.6, unit: V, uncertainty: {value: -1, unit: V}}", "which cannot be"),
    ],
)
def test_what_cannot_be_is_a_message_at_its_place(program: Program, readings: str, cause: str) -> None:
    text = written(battery(readings), BATTERY)
    said = said_of_readings(text, program)
    assert len(said) == 1
    assert cause in said[0][0] or cause in said[0][1]
    assert said[0][1]
    assert said[0][2] == text[: text.index("did: lv_battery_test")].count("\n") + 1


@pytest.mark.parametrize(
    ("log", "cause"),
    [
        (
            seat("low: 0, high: 0.2", "low: 30, high: 31", None).replace(
                WEIGHTS, "weights: {nominal: 0, unit: kg}"
            ),
            "0",
        ),
        (
            seat("low: 0, high: 0.2", "low: 30, high: 31", None).replace("class: M1", "class: M9"),
            "R 111 class",
        ),
        (
            seat("low: 0, high: 0.2", "low: 30, high: 31", None).replace("31, unit: kg", "31, unit: count"),
            "they cannot be compared",
        ),
        ("- {at: 2026-03-05, did: scan_pre, readings: {codes: [{code: 96E123}]}}", "put it in quotes"),
        ("- {at: 2026-03-05, did: scan_pre, readings: {codes: [{code: X1234}]}}", "is not a trouble code"),
        ("- {at: 2026-03-05, did: scan_pre, readings: {codes: [{code: B16A1, status: 50}]}}", "0x50"),
        (
            "- {at: 2026-03-05, did: scan_pre, readings: {codes: [{code: B16A1, system: radar_frnt}]}}",
            "radar_front",
        ),
        (
            "- {at: 2026-03-05, did: lv_battery_test, readings: {state of health: {value: 1, unit: '%'}, "
            "state_of_health: {value: 1, unit: '%'}}}",
            "given twice",
        ),
    ],
)
def test_other_things_that_cannot_be(program: Program, log: str, cause: str) -> None:
    said = said_of_readings(written(log, SEAT), program)
    assert len(said) == 1, said
    assert cause in f"{said[0][0]} {said[0][1]}"


def test_the_message_points_at_the_reading_that_is_wrong(program: Program) -> None:
    text = written(
        """
        - at: 2026-03-05
          did: lv_battery_test
          readings:
            battery voltage: {value: 12.5, unit: V}
            charging voltage: {low: 14.4, high: 14.1, unit: V}
        """
    )
    assert said_of_readings(text, program)[0][2] == text[: text.index("charging voltage")].count("\n") + 1


def test_a_limit_that_cannot_be_is_a_message_at_its_place(program: Program) -> None:
    text = written("", procedure("lv_battery_test", "{battery voltage: {low: 13, high: 12, unit: V}}"))
    said = said_of_readings(text, program)
    assert "the low limit 13 is above the high limit 12 V" in said[0][0]
    assert said[0][2] == text[: text.index("battery voltage")].count("\n") + 1


def test_an_entry_with_wrong_readings_is_kept_with_the_cause_as_a_remark(program: Program) -> None:
    case = read(written(battery("{low: 12.6, high: 12.5, unit: V}", "pass"), BATTERY), program)
    found = assess_entry(case.log[0], case, program)
    assert found.outcome == ""
    assert "above the highest" in found.remarks[0]
