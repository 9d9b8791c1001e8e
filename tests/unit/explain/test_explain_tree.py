"""The proof of a line, down to what was observed or assumed."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from knockon.engine.explain.facts import Evidence
from knockon.engine.explain.tree import Proof, proof
from knockon.engine.model.outcome import POSSIBLE, PROVISIONAL, Record

Example = Callable[[str], Evidence]
NAMES = ("front-corner", "parked-tap", "mostly-unknown", "door-hit")


def nodes(tree: Proof) -> Iterator[Proof]:
    yield tree
    for _, _, below in tree.supports:
        for child in below:
            yield from nodes(child)


def test_the_tree_of_the_seat_check_ends_in_what_was_seen(example: Example) -> None:
    tree = proof(example("parked-tap"), Record("planned", "ocs_check"))
    support, leaves, below = tree.supports[0]
    assert (support.rule, leaves) == ("R041", ())
    assert [child.title for child in below] == [
        "the body took a jolt",
        "the front passenger seat has a classification zero",
    ]
    jolt = below[0]
    assert jolt.supports[0][0].rule == "R002"
    assert [(f.slot, f.origin) for f in jolt.supports[0][1]] == [("event_type", "observed")]


@pytest.mark.parametrize("name", NAMES)
def test_every_record_is_unfolded_once_and_nothing_is_left_unproved(example: Example, name: str) -> None:
    evidence = example(name)
    for (operation, place), line in evidence.found.lines.items():
        standing = POSSIBLE if line.standing == POSSIBLE else PROVISIONAL
        found = list(nodes(proof(evidence, Record("planned", operation, place), standing)))
        unfolded = [n.record for n in found if not n.again]
        assert len(unfolded) == len(set(unfolded))
        assert {n.record for n in found if n.again} <= set(unfolded)
        assert all(n.supports for n in found if not n.again), [n.record for n in found if not n.supports]
        for node in found:
            for _, leaves, _ in node.supports:
                assert all(leaf.origin != "derived" or leaf.value == "fitted by law" for leaf in leaves)


def test_every_support_of_a_line_is_in_its_tree(example: Example) -> None:
    evidence = example("door-hit")
    for (operation, place), line in evidence.found.lines.items():
        if line.standing != POSSIBLE:
            tree = proof(evidence, Record("planned", operation, place))
            rules = {evidence.by_id[f.alternative].rule.id for f in line.firings}
            assert rules <= {support.rule for support, _, _ in tree.supports}


def test_what_the_law_makes_fitted_is_proved_by_the_law(told: Callable[..., Evidence]) -> None:
    facts = {
        "event_type": "collision",
        "area": ["rear"],
        "market": "us",
        "model_year": "2023",
        "gvwr_kg": "2000 kg",
    }
    evidence = told(facts, rest="unknown")
    makers = evidence.found.strengths[PROVISIONAL].makers
    rests = [
        (key, record)
        for key, line in evidence.found.lines.items()
        for firing in line.firings
        for record in firing.records
        if line.standing != POSSIBLE and record in makers and record.kind == "fitted"
    ]
    assert rests
    for key, record in rests:
        found = {n.record: n for n in nodes(proof(evidence, Record("planned", *key))) if not n.again}
        assert {s.pack for s, _, _ in found[record].supports} == {"us-federal"}
