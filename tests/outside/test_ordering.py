"""The working order against published networks and the combinatorics of topological orders.

Not used here, because lines have no durations: earliest and latest times, slack, the critical path. What bears on
us of those exercises is the precedence itself. Library for comparison: networkx.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path

import networkx as nx
import pytest
from knockon.engine.diagnostics.message import InputError
from knockon.engine.load.pack import load_program
from knockon.engine.model.catalogue import Operation
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.plan.order import working_order

# Activity -> those it comes after.
NETWORKS: Mapping[str, Mapping[str, str]] = {
    # solved exercise, homeworksource.com/p/4323963: critical path A D G
    "ten activities": dict(A="", B="", C="", D="A", E="A", F="C", G="D", H="C", I="BEF", J="H"),
    # Hillier and Lieberman, Reliable Construction (precedences from memory): critical path A B C E F J L N
    "fourteen activities": dict(
        A="", B="A", C="B", D="C", E="C", F="E", G="D", H="EG", I="C", J="FI", K="J", L="J", M="H", N="KL"
    ),
    # exercise 114392, two critical paths
    "eight activities": dict(A="", B="", C="A", D="B", E="C", F="CD", G="EF", H="G"),
}
ANTICHAIN = {f"A{i}": "" for i in range(5)}
DIAMOND = dict(A="", B="A", C="A", D="BC")
CHAIN = dict(A="", B="A", C="B", D="C")


def two_chains(first: int, second: int) -> dict[str, Sequence[str]]:
    """Two chains that know nothing of each other."""
    chains = [[f"{name}{i}" for i in range(n)] for name, n in (("A", first), ("B", second))]
    firsts: dict[str, Sequence[str]] = {chain[0]: [] for chain in chains}
    return firsts | {b: [a] for chain in chains for a, b in pairwise(chain)}


def catalogue(program: Program, network: Mapping[str, Sequence[str]], listed: Sequence[str]) -> Program:
    """A program whose catalogue is this network, its operations listed in this order, all of one phase."""
    made = {
        id_: Operation(id_, id_, "inspection", (), "vehicle", "work", (), (), tuple(network[id_]), (), ())
        for id_ in listed
    }
    return replace(program, operations=made, phases={"work": "work"})


def order(program: Program, network: Mapping[str, Sequence[str]], listed: Sequence[str]) -> list[str]:
    """The working order of the whole network."""
    made = catalogue(program, network, listed)
    return [id_ for id_, _ in working_order(made, [(id_, "") for id_ in network])]


def graph_of(network: Mapping[str, Sequence[str]]) -> nx.DiGraph[str]:
    """The network as the library has it."""
    graph: nx.DiGraph[str] = nx.DiGraph()
    graph.add_nodes_from(network)
    graph.add_edges_from((first, id_) for id_, firsts in network.items() for first in firsts)
    return graph


@pytest.mark.parametrize("name", NETWORKS)
def test_published_networks_are_worked_in_a_topological_order(program: Program, name: str) -> None:
    network = NETWORKS[name]
    for listed in (sorted(network), sorted(network, reverse=True)):
        found = order(program, network, listed)
        assert sorted(found) == sorted(network)
        assert all(found.index(a) < found.index(b) for a, b in graph_of(network).edges)
        assert found == list(nx.lexicographical_topological_sort(graph_of(network), key=listed.index))


@pytest.mark.parametrize(
    ("network", "count"),
    [
        (ANTICHAIN, math.factorial(5)),
        (DIAMOND, 2),
        (CHAIN, 1),
        (two_chains(3, 4), math.comb(7, 3)),
        (two_chains(2, 2), math.comb(4, 2)),
    ],
)
def test_every_topological_order_is_reached_by_some_catalogue_and_no_other(
    program: Program, network: Mapping[str, Sequence[str]], count: int
) -> None:
    sorts = [tuple(s) for s in nx.all_topological_sorts(graph_of(network))]
    assert len(sorts) == len(set(sorts)) == count
    assert {tuple(order(program, network, listed)) for listed in sorts} == set(sorts)


@pytest.mark.parametrize("network", [CHAIN, DIAMOND, ANTICHAIN, *NETWORKS.values()])
def test_the_catalogue_decides_nothing_exactly_where_a_path_visits_all(
    program: Program, network: Mapping[str, Sequence[str]]
) -> None:
    graph = graph_of(network)
    path = nx.dag_longest_path(graph)
    forwards, backwards = (
        order(program, network, s) for s in (sorted(network), sorted(network, reverse=True))
    )
    assert (len(path) == len(network)) == (forwards == backwards)


def test_where_there_is_no_order_the_ring_is_reported(tmp_path: Path) -> None:
    (tmp_path / "pack.yaml").write_text(
        "{pack: ring, version: 1.0.0, date: 2026-01-01, title: a ring, stacks_on: [], contents: [ring.yaml]}"
    )
    entry = "{{title: x, kind: inspection, systems: [], per: vehicle, phase: work, after: [{}]}}"
    (tmp_path / "ring.yaml").write_text(
        f"phases: [{{id: work, title: work}}]\noperations: {{a: {entry.format('b')}, b: {entry.format('a')}}}\n"
    )
    with pytest.raises(InputError) as refused:
        load_program([tmp_path])
    (message,) = refused.value.messages
    assert message.code == "KN230"
    assert message.text == "operations wait for each other: a -> b -> a"
