"""Case files: every answer in its section, with its unit; every problem of the file in one run."""

from __future__ import annotations

from pathlib import Path

import pytest
from knockon.engine.diagnostics.message import InputError, Message, Messages
from knockon.engine.load.case import load_case
from knockon.engine.model.case import Case
from knockon.engine.model.program import Program
from written_pack import codes, load

HEAD = "case: a\ndate: 2026-11-16\n"


@pytest.fixture
def small(tmp_path: Path) -> Program:
    """The small pack."""
    return load(tmp_path)


def case(small: Program, tmp_path: Path, body: str, head: str = HEAD) -> tuple[Case, list[Message]]:
    path, messages = tmp_path / "case.yaml", Messages()
    path.write_text(head + body)
    return load_case(path, small, messages), messages.items


def refused(small: Program, tmp_path: Path, body: str, head: str = HEAD) -> list[Message]:
    with pytest.raises(InputError) as error:
        case(small, tmp_path, body, head)
    return error.value.messages.items


def values(made: Case, *slot: str) -> set[object] | None:
    known = made.state(slot).known
    return None if known is None else set(known)


def test_answers_become_known_slots_with_who_said_them_and_where(small: Program, tmp_path: Path) -> None:
    made, messages = case(
        small,
        tmp_path,
        "vehicle: {name: Tolva, vin: 1, built: 2019-05-03}\n".replace("vin: 1, ", "")
        + "fitted: {yes: [eye], no: [ear]}\nintake: {event_type: hail, area: [front, top]}\n"
        "scan: {speed: 12.5 km/h, lost: [eye], codes: {yes: [eye]}}\nlookup: {methods: {eye: static}}\n"
        "parts: [{part: wing, side: left, actions: [rr], damage: broken}, {part: nose, actions: [none]}]\n"
        "procedures: [{operation: look, document: d, version: 2, looked_up: 2026-11-10, verdict: required}]\n",
    )
    assert messages == []
    assert values(made, "fact", "event_type") == {"hail"}
    assert values(made, "fact", "area") == {"front", "top"}
    assert values(made, "fact", "built") == {20190503.0}
    assert values(made, "fact", "speed") == {12.5}
    assert values(made, "fact", "lost") == {"eye"}
    assert values(made, "fact", "case_date") == {20261116.0}
    assert values(made, "fitted", "ear") == {"no"}
    assert values(made, "code", "eye") == {"yes"}
    assert values(made, "method", "eye") is not None
    assert values(made, "touched", "wing", "front_left") == {"rr"}
    assert values(made, "touched", "wing", "front_right") is None
    assert values(made, "touched", "nose", "front") == set()
    assert values(made, "damaged", "wing", "front_left") == {"broken"}
    assert values(made, "procedure", "look") == {"required"}
    state = made.state(("fact", "event_type"))
    assert (state.said_by, state.span.line) == ("intake", 5)


@pytest.mark.parametrize("word", ["unknown", "[unknown]"])
def test_unknown_is_not_no(small: Program, tmp_path: Path, word: str) -> None:
    made, _ = case(small, tmp_path, f"intake: {{event_type: {word}, area: {word}}}\n")
    assert values(made, "fact", "event_type") is None
    assert values(made, "fact", "area") is None
    assert made.state(("fact", "area")).assumed == {"front"}


@pytest.mark.parametrize(("word", "known"), [("[]", set()), ("none", set()), ("front", {"front"})])
def test_a_set_may_be_empty_or_a_single_word(
    small: Program, tmp_path: Path, word: str, known: set[object]
) -> None:
    assert values(case(small, tmp_path, f"intake: {{area: {word}}}\n")[0], "fact", "area") == known


def test_the_later_section_stands_and_the_reader_is_told(small: Program, tmp_path: Path) -> None:
    made, (note,) = case(small, tmp_path, "intake: {area: [front]}\nteardown: {area: [rear]}\n")
    assert values(made, "fact", "area") == {"rear"}
    assert (note.code, note.level) == ("KN302", "note")
    assert [c.label for c in note.culprits] == ["stands", "first answer"]


def test_both_sides_are_meant_where_none_is_given(small: Program, tmp_path: Path) -> None:
    made, (note,) = case(small, tmp_path, "parts: [{part: wing, actions: [ri]}]\n")
    assert values(made, "touched", "wing", "front_right") == {"ri"}
    assert (note.code, note.level) == ("KN309", "note")


def test_what_is_said_of_a_part_twice_is_united_or_told(small: Program, tmp_path: Path) -> None:
    made, (note,) = case(
        small,
        tmp_path,
        "parts: [{part: nose, actions: [ri], damage: broken}, {part: nose, actions: [refinish], damage: cosmetic}]\n",
    )
    assert values(made, "touched", "nose", "front") == {"ri", "refinish"}
    assert values(made, "damaged", "nose", "front") == {"cosmetic"}
    assert (note.code, note.level) == ("KN302", "note")


def test_after_the_build_data_all_other_systems_are_known_absent(small: Program, tmp_path: Path) -> None:
    made, _ = case(small, tmp_path, "fitted: {yes: [eye], no: all_others}\n")
    assert [values(made, "fitted", s) for s in ("eye", "ear", "lamp")] == [{"yes"}, {"no"}, {"yes"}]


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("intake: {event_typ: hail}", ["KN201"]),
        ("intake: {case_date: 2026-01-01}", ["KN201"]),
        ("intake: {event_type: hial}", ["KN201"]),
        ("scan: {lost: [eye, nose]}", ["KN201"]),
        ("scan: {event_type: hail}", ["KN301"]),
        ("intake: {event_type: [hail, collision]}", ["KN303"]),
        ("scan: {speed: fast}", ["KN304"]),
        ("vehicle: {built: 2019}", ["KN306"]),
        ("vehicle: {built: 2019-02-30}", ["KN306"]),
        ("scan: {speed: 12}", ["KN305"]),
        ("scan: {speed: 12 mph}", ["KN305"]),
        ("fitted: {no: most}", ["KN307"]),
        ("fitted: {yes: [eye], no: [eye]}", ["KN308"]),
        ("fitted: {yes: [eey]}", ["KN201"]),
        ("scan: {codes: {yes: [eey]}}", ["KN201"]),
        ("lookup: {methods: {eye: magic}}", ["KN201"]),
        ("parts: [{part: tail}]", ["KN201"]),
        ("parts: [{part: nose, side: left}]", ["KN310"]),
        ("parts: [{part: nose, actions: [paint]}]", ["KN201"]),
        ("parts: [{part: nose, damage: bent}]", ["KN201"]),
        ("procedures: [{operation: lok, document: d, looked_up: 2026-11-10, verdict: required}]", ["KN201"]),
        (
            "procedures: [{operation: look, document: d, looked_up: 2026-11-10, verdict: required}, "
            "{operation: look, document: e, looked_up: 2026-11-11, verdict: required}]",
            ["KN311"],
        ),
        ("intake: {event_type: hail, towed: yes}", ["KN314"]),
        ("log: [{at: 2026-11-17}]", ["KN312"]),
        ("log: [{at: 2026-11-17, did: look, event: ev_jolt}]", ["KN312"]),
        ("log: [{at: 2026-11-17, waived: look}]", ["KN313"]),
        ("log: [{at: 2026-11-31, did: look}]", ["KN306"]),
        ("log: [{at: 2026-11-17T25:00, did: look}]", ["KN306"]),
        ("log: [{at: 2026-11-17, did: lok}]", ["KN201"]),
        ("log: [{at: 2026-11-17, did: aim.above}]", ["KN201"]),
        ("log: [{at: 2026-11-17, event: ev_jolts}]", ["KN201"]),
        ("log: [{at: 2026-11-17, event: ev_jolt, part: tail, system: hand}]", ["KN201", "KN201"]),
    ],
)
def test_each_mistake_has_its_code_and_its_place(
    small: Program, tmp_path: Path, body: str, expected: list[str]
) -> None:
    messages = refused(small, tmp_path, body)
    assert codes(messages) == expected
    for message in messages:
        assert message.culprits[0].span.line == 3
        assert message.culprits[0].span.column > 1
        assert message.next_step or message.nearest


def test_a_missing_unit_names_the_unit_and_a_wrong_one_asks_to_convert(
    small: Program, tmp_path: Path
) -> None:
    (missing,) = refused(small, tmp_path, "scan: {speed: 12}\n")
    assert missing.next_step == "write it as `speed: 12 km/h`, if km/h is meant"
    (wrong,) = refused(small, tmp_path, "scan: {speed: 12 mph}\n")
    assert wrong.next_step == "convert it to km/h"


def test_form_and_names_and_contradictions_are_told_in_one_run(small: Program, tmp_path: Path) -> None:
    messages = refused(
        small,
        tmp_path,
        "intake: {event_type: hail, towed: yes, event_typ: 1}\nparts: [{part: 3}, {part: tail}]\nwishes: none\n",
        head="case: a\ndate: soon\n",
    )
    assert sorted(codes(messages)) == ["KN110", "KN113", "KN114", "KN201", "KN201", "KN314"]


def test_a_file_that_is_no_case_at_all(small: Program, tmp_path: Path) -> None:
    assert codes(refused(small, tmp_path, "- a\n", head="")) == ["KN113"]
    with pytest.raises(InputError) as error:
        load_case(tmp_path / "nowhere.yaml", small)
    assert codes(error.value.messages.items) == ["KN101"]
