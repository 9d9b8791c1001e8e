"""Strata: what may be looked at through `unless`, checked against a graph library on random rules."""

from __future__ import annotations

from pathlib import Path

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.strata import stratify
from knockon.engine.model.rule import Alternative, Effect, Pattern, Rule
from written_pack import load, problems, rule


def alternative(id_: str, reads: list[int], avoids: list[int], makes: int) -> Alternative:
    needed = tuple(Pattern("derived", (f"d{n}",)) for n in reads)
    blocked = tuple((Pattern("derived", (f"d{n}",)),) for n in avoids)
    effect = Effect("conclude", (f"d{makes}",))
    made = Rule(id_, "p", id_, needed, blocked, (effect,), "required", "because", "", ())
    return Alternative(id_, made, (), needed, blocked, (effect,), 0)


NODES = st.integers(0, 5)
RULES = st.lists(
    st.tuples(st.lists(NODES, max_size=2, unique=True), st.lists(NODES, max_size=1), NODES),
    min_size=1,
    max_size=9,
)


@settings(max_examples=300, deadline=None)
@given(RULES)
def test_refused_exactly_when_some_ring_goes_through_unless(
    drawn: list[tuple[list[int], list[int], int]],
) -> None:
    rules = [alternative(f"r{i}", *parts) for i, parts in enumerate(drawn)]
    graph = nx.DiGraph()
    graph.add_edges_from((body, head) for reads, avoids, head in drawn for body in (*reads, *avoids))
    ring = {n: i for i, part in enumerate(nx.strongly_connected_components(graph)) for n in part}
    made = {head for _, _, head in drawn}
    bad = any(
        a in made and ring.get(a) == ring.get(head) and (a == head or nx.has_path(graph, head, a))
        for _, avoids, head in drawn
        for a in avoids
    )
    messages = Messages()
    strata = stratify(rules, messages)
    assert (strata is None) == bad
    if strata is None:
        assert [m.code for m in messages] == ["KN231"]
        return
    level = {
        n: max((strata[f"r{i}"] for i, (*_, h) in enumerate(drawn) if h == n), default=0) for n in range(6)
    }
    for i, (reads, avoids, _) in enumerate(drawn):
        assert all(level[n] <= strata[f"r{i}"] for n in reads)
        assert all(level[n] < strata[f"r{i}"] for n in avoids if n in made)


RING = (
    rule("T001", "when: [{fitted: eye}], unless: [{derived: d_calm}]", "{conclude: d_jolt}")
    + rule("T002", "when: [{derived: d_jolt}]", "{severity: 2}")
    + rule("T003", "when: [{severity: 1}]", "{conclude: d_calm}")
)


def test_the_ring_is_named_with_the_place_of_every_rule_on_it(tmp_path: Path) -> None:
    (message,) = problems(tmp_path, RING)
    assert message.text == "`unless` goes in a circle: T001 -> T003 -> T002 -> T001"
    assert [c.label for c in message.culprits] == [
        "looked at through `unless` here",
        "`T001`",
        "`T003`",
        "`T002`",
    ]
    assert message.next_step


def test_a_rule_that_blocks_itself_is_the_smallest_ring(tmp_path: Path) -> None:
    (message,) = problems(
        tmp_path, rule("T001", "when: [], unless: [{derived: d_jolt}]", "{conclude: d_jolt}")
    )
    assert message.text == "`unless` goes in a circle: T001 -> T001"


def test_a_planned_name_bound_at_run_time_may_be_any_operation(tmp_path: Path) -> None:
    text = rule("T001", "when: [{planned: $o}], unless: [{planned: look}]", "{plan: $o}")
    assert [m.code for m in problems(tmp_path, text)] == ["KN231"]


@pytest.mark.parametrize("then", ["{hold: look}", "{drop: look}", "{void: look}"])
def test_hold_drop_and_void_are_no_ground_for_a_ring(tmp_path: Path, then: str) -> None:
    text = rule("T001", "when: [], unless: [{planned: look}]", then) + rule("T002")
    assert load(tmp_path, text).strata == 2


def test_severity_at_least_is_monotone(tmp_path: Path) -> None:
    text = rule("T001", "when: [{severity: 1}]", "{severity: 3}") + rule(
        "T002", "when: [{severity: 3}]", "{severity: 2}"
    )
    assert load(tmp_path, text).strata == 1
