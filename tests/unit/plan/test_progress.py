"""How far each line is, and what the log says against itself."""

from __future__ import annotations

import pytest
from knockon.engine.model.plan import Plan
from knockon.engine.model.program import Program
from knockon.engine.plan.build import make_plan
from knockon.engine.plan.progress import came_later
from written import read, written


def plan(log: str, program: Program) -> Plan:
    return make_plan(program, read(written(log), program), with_questions=False)


def told(made: Plan, kind: str) -> list[str]:
    return [n.text for n in made.notices if n.kind == kind]


@pytest.mark.parametrize(
    ("log", "progress"),
    [
        ("", "open"),
        ("- {at: 2026-03-05, did: ocs_check, result: pass}", "passed"),
        ("- {at: 2026-03-05, did: ocs_check, result: fail}", "failed"),
        ("- {at: 2026-03-05, did: ocs_check, result: aborted}", "open"),
        ("- {at: 2026-03-05, waived: ocs_check, by: M. Ode, why: the owner declined}", "waived"),
        ("- {at: 2026-03-05, did: ocs_check, result: pass}\n- {at: 2026-03-06, event: ev_seat_out}", "void"),
    ],
)
def test_the_progress_of_a_line(program: Program, log: str, progress: str) -> None:
    line = plan(log, program).line("ocs_check")
    assert line is not None
    assert line.progress == progress


def test_a_void_line_done_again_without_a_verdict_is_open_and_says_so(program: Program) -> None:
    """`void` would tell the technician to do what was just done; what is missing is a verdict."""
    made = plan(
        """
        - {at: 2026-03-05, did: ocs_check, result: pass}
        - {at: 2026-03-06, event: ev_seat_out}
        - {at: 2026-03-07, did: ocs_check, readings: {empty: {low: 0.1, high: 0.2, count: 20, unit: kg}}}
        """,
        program,
    )
    line = made.line("ocs_check")
    assert line is not None
    assert (line.progress, line.void_because) == ("open", "")
    assert [r.outcome for r in line.results] == ["pass", "not conclusive"]
    assert [r.void_at for r in line.results] == ["2026-03-06", ""]


def test_a_void_line_says_which_event_and_when(program: Program) -> None:
    made = plan(
        """
        - {at: 2026-03-05, did: ocs_check, result: pass}
        - {at: 2026-03-06, event: ev_seat_out, note: for the carpet}
        """,
        program,
    )
    line = made.line("ocs_check")
    assert line is not None
    assert line.void_because == "2026-03-06: front passenger seat unbolted (for the carpet)"
    assert line.results[0].void_at == "2026-03-06"
    assert [entry["undoes"] for entry in made.log] == ["", "ocs_check"]


def test_a_waiver_keeps_who_and_why_and_the_line_stays(program: Program) -> None:
    line = plan("- {at: 2026-03-05, waived: ocs_check, by: M. Ode, why: declined}", program).line("ocs_check")
    assert line is not None
    assert line.waiver == "2026-03-05, M. Ode: declined"


def test_a_failed_seat_check_brings_the_zero_calibration_and_the_check_after_it(program: Program) -> None:
    made = plan("- {at: 2026-03-05, did: ocs_check, result: fail}", program)
    assert made.line("ocs_zero") is not None
    assert made.line("ocs_recheck") is not None
    cured = plan(
        """
        - {at: 2026-03-05, did: ocs_check, result: fail}
        - {at: 2026-03-06, did: ocs_zero, result: pass}
        - {at: 2026-03-07, did: ocs_recheck, result: fail}
        """,
        program,
    )
    assert cured.line("ocs_diagnose") is not None


def test_an_aborted_calibration_asks_for_the_cause(program: Program) -> None:
    made = plan("- {at: 2026-03-05, did: radar_corner_cal.rear_right, result: aborted}", program)
    line = made.line("dtc_diagnose")
    assert line is not None
    assert line.standing == "firm"


def test_a_code_found_in_the_log_holds_the_calibration(program: Program) -> None:
    made = plan(
        "- {at: 2026-03-05, did: scan_interim, result: pass, "
        "readings: {codes: [{code: B16A1, system: radar_corner_rear}]}}",
        program,
    )
    line = made.line("radar_corner_cal.rear_right")
    assert line is not None
    assert line.progress == "held"
    assert line.holds[0].by == "R285"
    assert line.holds[0].why


def test_a_result_nobody_asked_for_is_kept_and_named(program: Program) -> None:
    made = plan("- {at: 2026-03-05, did: hud_align, result: pass}", program)
    assert "no rule asks for it; kept" in told(made, "stray")[0]
    assert made.log[0]["what"] == "hud_align"


def test_entries_out_of_time_order_twice_or_ahead_are_kept_and_named(program: Program) -> None:
    made = plan(
        """
        - {at: 2026-03-06, did: photo_set, result: pass}
        - {at: 2026-03-05, did: lamp_check, result: pass}
        - {at: 2026-03-05, did: lamp_check, result: pass}
        - {at: 2027-01-01, did: scan_pre, result: pass}
        """,
        program,
    )
    assert "2026-03-05 stands after 2026-03-06" in told(made, "time")[0]
    assert told(made, "twice") == ["the entry of 2026-03-05 is in the log twice; both are kept"]
    assert told(made, "ahead")[0].startswith("1 of 4 entries are dated after the case (2026-03-18)")
    assert len(made.log) == 4


LATE = """
    - {at: 2026-03-05T10:00, did: radar_corner_cal.rear_right, result: pass}
    - {at: 2026-03-05T11:00, did: radar_corner_angle.rear_right, result: pass}
"""


def out_of_order(made: Plan) -> set[tuple[str, str]]:
    """Each line done before another it comes after."""
    return {(n.lines[0], first) for n in made.notices if n.kind == "order" for first in n.lines[1:]}


def test_work_in_the_wrong_order_is_named_with_the_reason(program: Program) -> None:
    made = plan(LATE, program)
    pairs = out_of_order(made)
    assert ("radar_corner_cal.rear_right", "radar_corner_angle.rear_right") in pairs
    assert ("radar_corner_cal.rear_right", "scan_interim") in pairs  # not done at all
    notice = next(n for n in made.notices if n.lines[0] == "radar_corner_cal.rear_right")
    assert "which was done 2026-03-05" in notice.text
    assert "which was not done yet" in notice.text
    assert [s.line for s in notice.at] == sorted(s.line for s in notice.at)


def test_what_stood_at_the_time_is_no_wrong_order_although_it_was_repeated_later(program: Program) -> None:
    log = "    - {at: 2026-03-05T09:00, did: radar_corner_angle.rear_right, result: pass}" + LATE
    pairs = out_of_order(plan(log, program))
    assert ("radar_corner_cal.rear_right", "radar_corner_angle.rear_right") not in pairs


def test_what_was_asked_for_only_later_is_no_wrong_order(program: Program) -> None:
    log = """
        - {at: 2026-03-05T09:00, did: radar_corner_cal.rear_right, result: pass}
        - {at: 2026-03-06T09:00, did: scan_post, result: fail}
        - {at: 2026-03-07T09:00, did: dtc_diagnose, result: pass}
    """
    pairs = out_of_order(plan(log, program))
    assert ("radar_corner_cal.rear_right", "dtc_diagnose") not in pairs


def test_a_waived_predecessor_is_no_wrong_order(program: Program) -> None:
    log = "    - {at: 2026-03-04, waived: scan_interim, by: M. Ode, why: declined}" + LATE
    pairs = out_of_order(plan(log, program))
    assert ("radar_corner_cal.rear_right", "scan_interim") not in pairs


@pytest.mark.parametrize(
    ("one", "other", "later"),
    [
        ("2026-03-06", "2026-03-05", True),
        ("2026-03-05", "2026-03-05T10:00", False),
        ("2026-03-05T10:00", "2026-03-05", False),
        ("2026-03-05T10:01", "2026-03-05T10:00", True),
    ],
)
def test_a_bare_date_says_nothing_about_its_own_day(one: str, other: str, later: bool) -> None:
    assert came_later(one, other) is later
