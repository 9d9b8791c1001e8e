"""The nearest name: slips are caught, and nothing far-fetched is offered."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.diagnostics.nearest import nearest, offer
from knockon.engine.model.program import Program

NAMES = ["event_type", "area", "rear_left", "rear_right", "ocs_check", "ocs_zero", "hail", "eye"]


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ("event_typ", "event_type"),
        ("Event Type", "event_type"),
        ("event-type", "event_type"),
        ("rear_lfet", "rear_left"),
        ("ocs_chek", "ocs_check"),
        ("hial", "hail"),
        ("eey", "eye"),
        ("warp_drive", ""),
        ("", ""),
        ("x" * 5000, ""),
    ],
)
def test_a_slip_finds_its_name(wrong: str, right: str) -> None:
    assert nearest(wrong, NAMES) == right


@given(st.text(max_size=30), st.lists(st.text(min_size=1, max_size=8), max_size=8))
def test_the_answer_is_one_of_the_names_or_nothing_and_does_not_depend_on_their_order(
    wrong: str, names: list[str]
) -> None:
    found = nearest(wrong, names)
    assert found in {*names, ""}
    assert found == nearest(wrong, reversed(names))


def test_one_letter_lost_from_any_name_of_the_packs_leads_back_to_a_neighbour(program: Program) -> None:
    for names in (program.facts, program.systems, program.parts, program.operations):
        for name in [n for n in names if len(n) >= 4]:
            found = nearest(name[:2] + name[3:], names)
            assert found, name


PLACES_HIT = {"bl": "rear left corner", "lq": "left quarter and rear wheel", "wrl": "left rear wheel"}


@pytest.mark.parametrize(
    ("wrong", "hint", "step"),
    [
        ("Rear Left corner", "bl", ""),
        ("quarter", "lq", ""),
        ("rear wheel", "", "one of: lq (left quarter and rear wheel), wrl (left rear wheel)"),
        (
            "nowhere",
            "",
            "one of: bl (rear left corner), lq (left quarter and rear wheel), wrl (left rear wheel)",
        ),
    ],
)
def test_a_name_is_also_found_by_what_a_person_says_for_it(wrong: str, hint: str, step: str) -> None:
    assert offer(wrong, PLACES_HIT, "zone") == (hint, step)


def test_a_short_word_near_several_short_ids_is_shown_the_list_not_sent_to_the_wrong_one() -> None:
    hint, step = offer("rl", PLACES_HIT, "zone")
    assert not hint
    assert "bl (rear left corner)" in step


def test_where_there_are_too_many_names_the_page_of_words_is_named() -> None:
    assert offer("warp", {f"part_{n}": f"part {n}" for n in range(99)}, "part") == (
        "",
        "docs/words.md lists every part",
    )
    assert offer("warp", {}, "part") == ("", "these packs have no part at all")
