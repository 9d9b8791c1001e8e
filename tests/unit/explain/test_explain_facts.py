"""The facts behind a firing: observed, derived and assumed told apart, in the vocabulary's words."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from knockon.engine.explain.facts import Evidence, slot_id
from knockon.engine.model.case import Slot
from knockon.engine.model.outcome import FIRM, Record
from knockon.engine.model.plan import FactSeen, Support

Example = Callable[[str], Evidence]
Told = Callable[..., Evidence]


def supports(evidence: Evidence, operation: str, place: str = "") -> list[Support]:
    line = evidence.found.lines[operation, place]
    return [evidence.support(f) for f in line.firings]


def fact(found: list[Support], rule: str, slot: str) -> FactSeen:
    return next(f for s in found if s.rule == rule for f in s.facts if f.slot == slot)


def test_an_observed_fact_says_who_said_it_and_where(example: Example) -> None:
    seen = fact(supports(example("parked-tap"), "ocs_check"), "R042", "vehicle_state")
    assert (seen.title, seen.value, seen.origin) == ("state when hit", "parked, nobody aboard", "observed")
    assert seen.said_by == "intake"
    assert seen.at.file.endswith("parked-tap/case.yaml")
    assert seen.at.line == 21


def test_a_derived_fact_leads_to_the_rule_that_concluded_it(example: Example) -> None:
    seen = fact(supports(example("parked-tap"), "ocs_check"), "R041", "derived.d_jolt")
    assert (seen.title, seen.origin) == ("the body took a jolt", "derived")
    assert seen.at.file == "rules/base/overview.yaml"


def test_an_assumed_fact_says_so_and_has_no_place(example: Example) -> None:
    seen = fact(supports(example("mostly-unknown"), "ocs_check"), "R043", "pass_seat_load")
    assert (seen.value, seen.origin, seen.at.file) == ("adult", "assumed", "")


def test_a_support_carries_its_reason_its_sources_and_its_strength(example: Example) -> None:
    found = {s.rule: s for s in supports(example("mostly-unknown"), "ocs_check")}
    assert found["R041"].strength == "required"
    assert found["R074b"].strength == "check_whether"
    assert "zero" in found["R041"].why
    assert [s.title for s in found["R041"].sources] == ["common practice of the trade"]


def test_every_fact_of_every_line_has_words(example: Example) -> None:
    for name in ("front-corner", "parked-tap", "mostly-unknown", "door-hit"):
        evidence = example(name)
        for line in evidence.found.lines.values():
            for firing in line.firings:
                for seen in evidence.facts(firing):
                    assert seen.title.strip()
                    assert seen.value.strip(), (name, line.operation, seen.slot)
                    assert seen.origin in ("observed", "derived", "assumed")


def test_a_support_without_any_fact_is_a_rule_without_conditions_here(example: Example) -> None:
    evidence = example("front-corner")
    for line in evidence.found.lines.values():
        for firing in line.firings:
            a = evidence.by_id[firing.alternative]
            assert list(evidence.facts(firing)) or not (a.records or any(p.subjects for p in a.ground)), a.id


@pytest.mark.parametrize(
    ("slot", "title", "value"),
    [
        (("fact", "deployed"), "restraints fired", "driver front bag, passenger front bag"),
        (("fact", "delta_v"), "recorder delta-V, largest axis", "12 km/h"),
        (("fact", "built"), "date of manufacture", "2024-02-29"),
        (("fact", "module_new"), "modules or sensors replaced", "front radar"),
        (("fact", "wheel_hit"), "wheels struck", "none"),
        (("fitted", "cam_front"), "forward camera", "fitted"),
        (("fitted", "lidar"), "lidar", "not fitted"),
        (("code", "radar_front"), "front radar: trouble code", "yes"),
        (("method", "radar_front"), "front radar: calibration method", "static"),
        (
            ("touched", "bumper_cover_front", "front"),
            "front bumper cover",
            "refinished, removed and refitted",
        ),
        (("damaged", "headlamp_assy", "front_right"), "headlamp front right damage", "broken"),
    ],
)
def test_slots_and_values_in_words(told: Told, slot: Slot, title: str, value: str) -> None:
    evidence = told(
        {
            "deployed": ["passenger", "driver"],
            "delta_v": "12 km/h",
            "built": "2024-02-29",
            "module_new": ["radar_front"],
        },
        fitted=["radar_front", "cam_front"],
        codes=["radar_front"],
        methods={"radar_front": "static"},
        parts=[
            {"part": "bumper_cover_front", "actions": ["ri", "refinish"]},
            {"part": "headlamp_assy", "side": "right", "actions": ["rr"], "damage": "broken"},
        ],
    )
    assert (evidence.slot_title(slot), evidence.values(slot, evidence.case.state(slot))) == (title, value)


def test_a_firm_line_of_a_known_case_waits_for_nothing(told: Told) -> None:
    evidence = told({"event_type": "collision", "area": ["front"]}, fitted=["ocs_strain", "radar_front"])
    assert len(evidence.found.lines) > 10
    for (operation, place), line in evidence.found.lines.items():
        assert line.standing == FIRM
        assert evidence.open_slots(Record("planned", operation, place)) == frozenset()


def test_a_provisional_line_names_the_answers_it_waits_for(example: Example) -> None:
    evidence = example("mostly-unknown")
    waits = {slot_id(s) for s in evidence.open_slots(Record("planned", "ocs_check", ""))}
    assert {"ocs_type", "fitted.ocs_strain"} <= waits
    assert "event_type" not in waits
    assert all(
        evidence.case.state(s).known is None for s in evidence.open_slots(Record("planned", "ocs_check", ""))
    )


def test_how_slots_are_written() -> None:
    assert slot_id(("fact", "area")) == "area"
    assert slot_id(("fitted", "radar_front")) == "fitted.radar_front"
    assert slot_id(("touched", "door_front", "left")) == "touched.door_front.left"
    assert slot_id(("damaged", "seat_front_pass", "")) == "damaged.seat_front_pass"
