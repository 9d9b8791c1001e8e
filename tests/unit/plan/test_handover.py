"""Handover: nothing firm open, no question that could add a line, nothing void; else who can close what."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator
from knockon.engine.load.validate import schema
from knockon.engine.model.handover import Handover
from knockon.engine.model.program import Program
from knockon.engine.plan.build import make_plan
from knockon.engine.plan.handover import handover
from knockon.engine.render.handover import handover_json, handover_text
from knockon.engine.render.plain import Page
from knockon.engine.render.text import plan_text
from written import EXAMPLE, read

DONE = EXAMPLE.read_text("utf-8")


def closed(text: str, program: Program) -> Handover:
    return handover(make_plan(program, read(text, program)), program)


def without(line: str) -> str:
    """The finished case less one log entry written on one line."""
    kept = [text for text in DONE.splitlines(keepends=True) if line not in text]
    assert len(kept) == len(DONE.splitlines()) - 1
    return "".join(kept)


def test_the_finished_case_is_ready(program: Program) -> None:
    found = closed(DONE, program)
    assert found.ready
    assert [d.line for d in found.documented if d.how == "waived"] == ["structure_measure"]
    assert "handover" not in {d.line for d in found.documented}  # it is what comes next


def test_an_open_line_keeps_the_car(program: Program) -> None:
    found = closed(without("did: pab_lamp_check"), program)
    assert [(m.kind, m.id, m.who) for m in found.missing] == [("open", "pab_lamp_check", "technician")]


def test_a_scan_is_for_the_scan_technician_and_the_last_check_for_the_estimator(program: Program) -> None:
    missing = closed(without("did: scan_post").replace("did: qc_final", "did: photo_set"), program).missing
    assert {(m.id, m.who) for m in missing} == {("scan_post", "scan_tech"), ("qc_final", "estimator")}


def test_a_void_result_keeps_the_car(program: Program) -> None:
    text = DONE + "  - {at: 2026-03-18T12:00, event: ev_seat_out, by: R. Lind}\n"
    missing = {m.id: m for m in closed(text, program).missing}
    assert missing["ocs_check"].kind == "void"
    assert "front passenger seat unbolted" in missing["ocs_check"].words


def test_a_gain_error_keeps_the_car_for_its_diagnosis_and_is_not_zeroed(program: Program) -> None:
    failed = DONE.replace("{low: 63.5, high: 63.9,", "{low: 80.5, high: 80.9,")
    missing = {m.id: m.kind for m in closed(failed, program).missing}
    assert (missing["ocs_check"], missing["ocs_diagnose"]) == ("failed", "open")
    assert "ocs_zero" not in missing


def test_a_failure_keeps_the_car_until_its_cure_is_proved(program: Program) -> None:
    failed = (
        DONE.replace("{low: -2.56, high: -2.25,", "{low: -9.56, high: -9.25,")
        .replace("{low: 63.5, high: 63.9,", "{low: 56.5, high: 56.9,")
        .replace("{low: -2.5, high: -2.3,", "{low: -9.5, high: -9.3,")
    )
    missing = {m.id: m.kind for m in closed(failed, program).missing}
    assert missing["ocs_check"] == "failed"
    assert missing["ocs_zero"] == "open"
    cured = failed.replace(
        "  - {at: 2026-03-16T13:30, did: pab_lamp_check",
        "  - {at: 2026-03-16T13:10, did: ocs_zero, result: pass}\n"
        "  - {at: 2026-03-16T13:20, did: ocs_recheck, result: pass}\n"
        "  - {at: 2026-03-16T13:30, did: pab_lamp_check",
    )
    found = closed(cured, program)
    assert "ocs_check" not in {m.id for m in found.missing}
    words = next(d.words for d in found.documented if d.line == "ocs_check")
    assert words == "failed, then cured and passed as ocs_recheck"


def test_a_waiver_closes_a_line(program: Program) -> None:
    text = (
        without("did: pab_lamp_check")
        + "  - {at: 2026-03-18, waived: pab_lamp_check, by: M. Ode, why: declined}\n"
    )
    found = closed(text, program)
    assert found.ready
    assert "2026-03-18, M. Ode: declined" in {d.words for d in found.documented}


def test_an_open_question_that_could_add_a_line_keeps_the_car(program: Program) -> None:
    found = closed(DONE.replace("  rollover: no\n", ""), program)
    asked = [m for m in found.missing if m.kind == "question"]
    assert [(m.id, m.who) for m in asked] == [("rollover", "estimator")]
    assert asked[0].title == "Did the vehicle roll onto or past its side?"


def test_wrong_order_keeps_the_car_until_it_is_repeated_or_waived(program: Program) -> None:
    swapped = DONE.replace(
        "2026-03-09T15:00", "2026-03-16T11:00"
    )  # the bracket angle after both calibrations
    found = closed(swapped, program)
    assert [(m.kind, m.id) for m in found.missing] == [("notice", "radar_corner_cal.rear_right")]
    why = "why: offset read again after the angle"
    waived = f"  - {{at: 2026-03-18, waived: radar_corner_cal.rear_right, by: K. Brandt, {why}}}\n"
    assert closed(swapped + waived, program).ready
    also = swapped.replace("did: film_measure.rear", "did: film_measure.front")
    missing = [(m.kind, m.id) for m in closed(also, program).missing]
    assert (
        "notice",
        "radar_corner_cal.rear_right",
    ) in missing  # one predecessor is named itself, the other not
    assert any(id_.startswith("film_measure") for _, id_ in missing)


@pytest.mark.parametrize("text", [DONE, without("did: pab_lamp_check"), DONE.replace("  rollover: no\n", "")])
def test_it_says_what_is_documented_and_never_that_a_car_is_safe(program: Program, text: str) -> None:
    found = closed(text, program)
    page = handover_text(found, Page())
    assert "It says nothing of the" in page
    assert "safe to" not in page
    assert ("Not ready" in page) is not found.ready
    data = json.loads(handover_json(found))
    Draft202012Validator(schema("handover")).validate(data)
    assert data["ready"] is found.ready


def test_a_severity_that_rests_on_an_assumption_says_what_is_certain(program: Program) -> None:
    head = "case: x\ndate: 2026-11-16\nintake:\n  event_type: collision\n  area: [rear]\n"
    plan = make_plan(program, read(head, program))
    assert (plan.severity, plan.severity_certain) == (3, 1)
    assert "(on what is assumed; level 1 is certain)" in " ".join(plan_text(plan, program, Page()).split())
    sure = make_plan(program, read(head + "  deployed: [curtain]\n", program))
    assert (sure.severity, sure.severity_certain) == (4, 4)
    assert "on what is assumed" not in plan_text(sure, program, Page())


def test_a_calibration_that_was_broken_off_is_missing_also_where_nobody_said_that_it_is_fitted(
    program: Program,
) -> None:
    head = "case: x\ndate: 2026-11-16\nintake:\n  event_type: collision\n  area: [rear]\n"
    log = "log:\n  - {at: 2026-11-16, did: cam_rear_cal, result: aborted}\n"
    assert "cam_rear_cal" in {m.id for m in closed(head + log, program).missing}
    assert "cam_rear_cal" not in {m.id for m in closed(head, program).missing}
