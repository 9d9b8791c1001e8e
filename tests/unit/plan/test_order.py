"""The working order: a topological order of the plan's lines, the same for the same lines, phase by phase where free."""

from __future__ import annotations

import random

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st
from knockon.engine.model.catalogue import after_ids
from knockon.engine.model.places import KEPT_BY, meets
from knockon.engine.model.program import Program
from knockon.engine.plan.order import LineId, before, predecessors, ranks, working_order


def lines_of(program: Program, seed: int, share: float) -> list[LineId]:
    """A random part of all lines the catalogue could have, in random order."""
    chance = random.Random(seed)
    every = [(o.id, place) for o in program.operations.values() for place in KEPT_BY[o.per]]
    return chance.sample(every, round(len(every) * share))


def graph_of(program: Program, lines: list[LineId]) -> nx.DiGraph[LineId]:
    """What comes before what, built from the catalogue alone."""
    graph: nx.DiGraph[LineId] = nx.DiGraph()
    graph.add_nodes_from(lines)
    graph.add_edges_from(
        (first, line)
        for line in lines
        for first in lines
        if first[0] in after_ids(program.operations, line[0]) and meets(first[1], line[1])
    )
    return graph


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.floats(0, 1))
def test_every_line_once_and_after_all_it_waits_for(program: Program, seed: int, share: float) -> None:
    lines = lines_of(program, seed, share)
    order, graph = working_order(program, lines), graph_of(program, lines)
    assert sorted(order) == sorted(lines)
    assert nx.is_directed_acyclic_graph(graph)
    place = {line: i for i, line in enumerate(order)}
    assert all(place[a] < place[b] for a, b in graph.edges)
    assert {(a, b) for b, firsts in predecessors(program, lines).items() for a in firsts} == set(graph.edges)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.randoms(use_true_random=False))
def test_the_order_lines_come_in_does_not_matter(program: Program, seed: int, chance: random.Random) -> None:
    lines = lines_of(program, seed, 0.4)
    shuffled = chance.sample(lines, len(lines))
    assert working_order(program, lines) == working_order(program, shuffled)


def test_lines_that_wait_for_nothing_keep_the_order_of_phase_and_catalogue(program: Program) -> None:
    free = [(o.id, place) for o in program.operations.values() if not o.after for place in KEPT_BY[o.per]]
    graph = graph_of(program, free)
    assert not graph.edges
    rank = ranks(program)
    assert working_order(program, free[::-1]) == sorted(free, key=lambda line: (*rank[line[0]], line))


def test_a_side_waits_only_for_work_that_meets_it(program: Program) -> None:
    lines = [("radar_corner_angle", p) for p in KEPT_BY["corner"]] + [("radar_corner_cal", "front_left")]
    assert predecessors(program, lines)["radar_corner_cal", "front_left"] == (
        ("radar_corner_angle", "front_left"),
    )


def test_no_operation_of_the_built_in_packs_waits_for_itself(program: Program) -> None:
    graph = nx.DiGraph((first, o) for o, firsts in before(program).items() for first in firsts)
    assert nx.is_directed_acyclic_graph(graph)
    assert not list(nx.selfloop_edges(graph))


def test_the_longest_chain_of_the_built_in_packs_is_worked_from_end_to_end(program: Program) -> None:
    graph = nx.DiGraph((first, o) for o, firsts in before(program).items() for first in firsts)
    chain = nx.dag_longest_path(graph)
    lines = [(o, KEPT_BY[program.operations[o].per][0]) for o in chain]
    assert [o for o, _ in working_order(program, lines[::-1])] == chain


def test_nothing_to_do_has_an_order_too(program: Program) -> None:
    assert working_order(program, []) == []
