"""What still stands: the latest result, until a later event takes it away."""

from __future__ import annotations

import pytest
from knockon.engine.measure.standing import settle
from knockon.engine.model.case import Case
from knockon.engine.model.program import Program
from written import ANSWERED, procedure, read, written

BATTERY = procedure("lv_battery_test", "{battery voltage: {low: 12.4, unit: V}}")


def settled(log: str, program: Program, procedures: str = "") -> Case:
    return settle(read(written(log, procedures), program), program)


def test_the_latest_result_counts(program: Program) -> None:
    case = settled(
        """
        - {at: 2026-03-05, did: scan_post, result: fail}
        - {at: 2026-03-06, did: scan_post, result: pass}
        """,
        program,
    )
    assert case.standing["scan_post", ""].result == "pass"
    assert case.state(("result", "scan_post", "")).known == {"pass"}
    assert case.undone == ()


def test_dates_count_not_the_order_in_the_file(program: Program) -> None:
    case = settled(
        """
        - {at: 2026-03-06T09:00, did: scan_post, result: pass}
        - {at: 2026-03-05T09:00, did: scan_post, result: fail}
        """,
        program,
    )
    assert case.standing["scan_post", ""].result == "pass"


def test_on_a_day_with_a_bare_date_the_file_order_counts(program: Program) -> None:
    case = settled(
        """
        - {at: 2026-03-06T09:00, did: ocs_check, result: pass}
        - {at: 2026-03-06, event: ev_seat_out}
        """,
        program,
    )
    assert ("ocs_check", "") not in case.standing


def test_readings_make_the_result(program: Program) -> None:
    weak = "readings: {battery voltage: {value: 11.9, unit: V}}"
    log = f"- {{at: 2026-03-05, did: lv_battery_test, result: pass, {weak}}}"
    assert settled(log, program, BATTERY).standing["lv_battery_test", ""].result == "fail"


def test_a_later_reading_that_settles_nothing_puts_the_result_in_doubt(program: Program) -> None:
    case = settled(
        """
        - {at: 2026-03-05, did: lv_battery_test, readings: {battery voltage: {value: 12.6, unit: V}}}
        - {at: 2026-03-06, did: lv_battery_test, readings: {battery voltage: {low: 12, high: 13, unit: V}}}
        """,
        program,
        BATTERY,
    )
    assert case.standing == {}


def test_an_entry_without_result_or_readings_changes_nothing(program: Program) -> None:
    case = settled(
        """
        - {at: 2026-03-05, did: scan_post, result: pass}
        - {at: 2026-03-06, did: scan_post, note: looked at the print-out again}
        """,
        program,
    )
    assert case.standing["scan_post", ""].at == "2026-03-05"


def test_an_event_takes_away_what_came_before_it_only(program: Program) -> None:
    case = settled(
        """
        - {at: 2026-03-05, did: ocs_check, result: pass}
        - {at: 2026-03-06, event: ev_seat_out}
        - {at: 2026-03-07, did: ocs_check, result: pass}
        """,
        program,
    )
    assert [(u.result.at, u.by.event) for u in case.undone] == [("2026-03-05", "ev_seat_out")]
    assert case.standing["ocs_check", ""].at == "2026-03-07"


@pytest.mark.parametrize(
    ("event", "gone"),
    [
        ("event: ev_cover_paint, part: bumper_cover_rear", True),
        ("event: ev_cover_paint, part: bumper_cover_front", False),  # another radar looks through it
        ("event: ev_sensor_moved, system: radar_corner_rear, side: rear_right", True),
        ("event: ev_sensor_moved, system: radar_corner_rear, side: rear_left", False),
        ("event: ev_sensor_moved, system: cam_rear", False),
        ("event: ev_seat_out", False),
    ],
)
def test_part_system_and_place_of_an_event_count(program: Program, event: str, gone: bool) -> None:
    case = settled(
        f"""
        - {{at: 2026-03-05, did: radar_corner_cal.rear_right, result: pass}}
        - {{at: 2026-03-06, {event}}}
        """,
        program,
    )
    assert (("radar_corner_cal", "rear_right") not in case.standing) is gone


def test_a_result_without_place_counts_for_every_place(program: Program) -> None:
    case = settled("- {at: 2026-03-05, did: radar_corner_cal, side: rear, result: pass}", program)
    assert sorted(place for _, place in case.standing) == ["rear_left", "rear_right"]


def test_an_event_answers_for_as_long_as_what_it_undid_waits(program: Program) -> None:
    log = """
        - {at: 2026-03-05, did: ocs_check, result: pass}
        - {at: 2026-03-06, event: ev_impact}
    """
    assert settled(log, program).state(("fact", "new_jolt")).known == {"yes"}
    done = log.rstrip() + "\n        - {at: 2026-03-07, did: ocs_check, result: pass}\n"
    assert settled(done, program).state(("fact", "new_jolt")).known == {"no"}


def test_an_event_is_work_on_the_part_it_names(program: Program) -> None:
    case = settled("- {at: 2026-03-06, event: ev_seat_out}", program)
    assert case.state(("touched", "seat_front_pass", "")).known == {"ri"}


@pytest.mark.parametrize(
    ("status", "there"), [(", status: 0x2F", True), ("", True), (", status: 0x50", False)]
)
def test_a_code_found_later_is_a_code(program: Program, status: str, there: bool) -> None:
    code = f"{{code: B16A1-23, system: radar_corner_rear{status}}}"
    case = settled(
        f"- {{at: 2026-03-06, did: scan_interim, result: pass, readings: {{codes: [{code}]}}}}", program
    )
    assert (case.state(("code", "radar_corner_rear")).known == {"yes"}) is there


SEAT = procedure(
    "ocs_check",
    "{empty: {low: -2, high: 2, unit: kg}, loaded: {low: 28, high: 32, unit: kg, minimum_count: 2}}",
)


def seat(empty: str, loaded: str, returned: str, at: str = "2026-03-05") -> str:
    """A log entry of a seat check in kg, each step as `low, high`, with 30 kg placed."""
    weights = "weights: {nominal: 10, unit: kg, number: 3, class: M1}"

    def step(text: str) -> str:
        low, high = text.split(", ")
        return f"low: {low}, high: {high}, count: 20, unit: kg"

    return (
        f"- {{at: {at}, did: ocs_check, readings: {{empty: {{{step(empty)}}}, "
        f"loaded: {{{step(loaded)}, {weights}}}, returned: {{{step(returned)}}}}}}}"
    )


@pytest.mark.parametrize(
    ("steps", "shape"),
    [
        (("5.0, 5.2", "35.0, 35.2", "5.0, 5.2"), "zero"),
        (("0.0, 0.2", "36.0, 36.2", "0.0, 0.2"), "gain"),
        (("5.0, 5.2", "43.0, 43.2", "5.0, 5.2"), "both"),
        (("0.0, 0.2", "30.0, 30.2", "4.0, 4.2"), "no_return"),
    ],
)
def test_the_readings_say_how_a_failed_seat_is_off(
    program: Program, steps: tuple[str, str, str], shape: str
) -> None:
    case = settled(seat(*steps), program, SEAT)
    assert case.standing["ocs_check", ""].result == "fail"
    assert case.state(("fact", "seat_fault")).known == {shape}


def test_how_the_seat_is_off_goes_with_the_check_that_showed_it(program: Program) -> None:
    gain = seat("0.0, 0.2", "36.0, 36.2", "0.0, 0.2")
    zero = seat("5.0, 5.2", "35.0, 35.2", "5.0, 5.2", "2026-03-06")
    good = seat("0.0, 0.2", "30.0, 30.2", "0.0, 0.2", "2026-03-06")
    gone = "- {at: 2026-03-06, event: ev_seat_out}"
    shapes = [
        settled(f"{gain}\n{later}", program, SEAT).state(("fact", "seat_fault")).known
        for later in (zero, good, gone)
    ]
    assert shapes == [{"zero"}, None, None]


def test_a_failed_seat_without_readings_leaves_it_to_be_asked(program: Program) -> None:
    case = settled("- {at: 2026-03-05, did: ocs_check, result: fail}", program, SEAT)
    assert case.state(("fact", "seat_fault")).known is None


def test_an_answer_stands_where_the_readings_do_not_tell_and_gives_way_where_they_do(
    program: Program,
) -> None:
    head = ANSWERED.replace("\n  weld: ", "\n  seat_fault: gain\n  weld: ")
    assert head != ANSWERED
    for log, shape in (
        ("- {at: 2026-03-05, did: ocs_check, result: fail}", "gain"),
        (seat("5.0, 5.2", "35.0, 35.2", "5.0, 5.2"), "zero"),
    ):
        case = settle(read(written(log, SEAT, head), program), program)
        assert case.state(("fact", "seat_fault")).known == {shape}
