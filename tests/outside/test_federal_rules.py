"""What the market packs conclude, against the published criteria, thresholds and dates they cite."""

from __future__ import annotations

from typing import Any

import pytest
from command import built_in
from knockon.engine.infer.lines import find_lines
from knockon.engine.infer.run import infer
from knockon.engine.load.scenario import scenario_case
from knockon.engine.model.outcome import PROVISIONAL, Record
from knockon.engine.model.rule import Scenario
from knockon.engine.model.span import Span


def outcome(facts: dict[str, Any], **given: Any) -> tuple[set[str], set[Record]]:
    """The operations planned and the records made for one imagined case."""
    scenario = Scenario(
        "outside", {"facts": facts, **given}, (), {}, {}, {}, {}, {}, {}, None, Span("outside", 1, 1)
    )
    case = scenario_case(scenario, built_in())
    found = infer(built_in(), case)
    lines = find_lines(built_in(), case, found).lines
    return {o for (o, _), line in lines.items() if line.standing != "possible"}, set(found[PROVISIONAL].made)


CRASH = {"event_type": "collision", "area": ["rear"], "market": "us", "child_seat_pos": ["rear"]}
CRASH |= {"vehicle_state": "driven"}  # somebody was aboard who could have been hurt
MINOR = {
    "towed_after": "no",
    "child_seat_door": "no",
    "occupant_injury": "no",
    "deployed": [],
    "child_seat_damage": "no",
}
MINOR_CRASH = Record("derived", "d_us_minor")


def test_all_five_criteria_make_a_crash_minor() -> None:
    # NHTSA child seat re-use advice, revised 2004: drivable, nearest door undamaged, nobody injured, no air bag
    # deployed, no visible damage to the seat - all five
    assert MINOR_CRASH in outcome(CRASH | MINOR)[1]


@pytest.mark.parametrize(
    ("fact", "value"),
    [
        ("towed_after", "flatbed"),
        ("child_seat_door", "yes"),
        ("occupant_injury", "yes"),
        ("deployed", ["curtain"]),  # any bag counts, not only one next to the child
        ("child_seat_damage", "yes"),
    ],
)
def test_one_criterion_missing_is_not_minor(fact: str, value: object) -> None:
    # same source: flip any one -> replace
    assert MINOR_CRASH not in outcome(CRASH | MINOR | {fact: value})[1]


@pytest.mark.parametrize("fact", sorted(MINOR))
def test_a_criterion_nobody_answered_is_not_minor(fact: str) -> None:
    # same source, read cautiously: unknown is not a criterion that holds
    answered = {k: v for k, v in (CRASH | MINOR).items() if k != fact}
    assert MINOR_CRASH not in outcome(answered | {fact: "unknown"})[1]


@pytest.mark.parametrize(("delta_v", "event"), [(7.9, False), (8.0, True)])
def test_the_recorder_trigger(delta_v: float, event: bool) -> None:
    # 49 CFR 563.5(b), trigger threshold 8 km/h within 150 ms (from memory); 7.9 -> no event, 8.0 -> event
    facts = {"event_type": "collision", "area": ["front"], "delta_v": delta_v, "impact_speed": "low"}
    assert (Record("severity", "2") in outcome(facts)[1]) is event


@pytest.mark.parametrize(
    ("system", "fact", "before", "from_"),
    [
        # 79 FR 19177: rear visibility by all from 1 May 2018 (read)
        ("cam_rear", "built", "2018-04-30", "2018-05-01"),
        # 49 CFR 571.126 and 571.138: dates from memory
        ("abs_esc", "built", "2011-08-31", "2011-09-01"),
        ("tpms", "built", "2007-08-31", "2007-09-01"),
    ],
)
def test_what_the_law_fits_and_from_when(system: str, fact: str, before: str, from_: str) -> None:
    base = {"event_type": "collision", "area": ["front"], "market": "us", "gvwr_kg": 2000}
    fitted = Record("fitted", system)
    early = outcome(base | {fact: before}, rest="unknown")[1]
    late = outcome(base | {fact: from_}, rest="unknown")[1]
    assert fitted not in early
    assert fitted in late


def test_no_law_of_another_market_is_applied() -> None:
    facts = {
        "event_type": "collision",
        "area": ["front"],
        "market": "un",
        "gvwr_kg": 2000,
        "built": "2020-01-01",
    }
    assert not any(r.kind == "fitted" for r in outcome(facts, rest="unknown")[1])


@pytest.mark.parametrize(("figure", "value"), [("fmvss_305", 500), ("un_r100", 100)])
def test_isolation_floors_stand_in_the_register(figure: str, value: float) -> None:
    # 75 FR 33515 (2010): 500 ohm/V AC; UN R100 5.1.3.1: 100 ohm/V DC (read). Floors are figures of a source, no rule's
    values = {
        f.value for s in built_in().sources.values() if s.id.startswith(figure) for f in s.figures.values()
    }
    assert value in values


def test_a_mild_hybrid_lies_below_class_b() -> None:
    # 571.305 S3: above 60 V DC (read); 48 V is outside
    facts = {"event_type": "collision", "area": ["front"], "powertrain": "mild_hybrid"}
    assert Record("derived", "d_hv") not in outcome(facts)[1]


@pytest.mark.parametrize("event", ["collision"])
@pytest.mark.parametrize(
    "state", ["parked_unattended", "parked_attended", "driven", "transported", "in_shop"]
)
@pytest.mark.parametrize("speed", ["tap", "low", "high"])
def test_any_hit_calls_for_the_seat_check(event: str, state: str, speed: str) -> None:
    # common practice, no source: any hit, also on a parked, unattended car with the key out
    facts = {
        "event_type": event,
        "area": ["left"],
        "vehicle_state": state,
        "impact_speed": speed,
        "ignition": "off",
    }
    planned, _ = outcome(facts, fitted=["ocs_strain"])
    assert "ocs_check" in planned
    assert "ocs_zero" not in planned  # common practice: the check decides whether a zero calibration follows


def test_the_manual_decides_on_the_zero_calibration() -> None:
    # common practice, no source
    facts = {"event_type": "collision", "area": ["left"]}
    planned, _ = outcome(facts, fitted=["ocs_strain"], procedures={"ocs_zero": "required"})
    assert {"ocs_zero", "ocs_recheck"} <= planned
