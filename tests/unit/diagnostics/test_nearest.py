"""The nearest name: slips are caught, and nothing far-fetched is offered."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.diagnostics.nearest import nearest
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
