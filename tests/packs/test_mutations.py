"""A sample of the mutation check; `python tests/packs/mutations.py` runs it whole."""

from __future__ import annotations

import pytest
from command import built_in
from mutations import check, mutants

pytest.importorskip("clingo")


@pytest.mark.slow
def test_a_weakened_rule_is_noticed() -> None:
    caught = check(sample=150)
    assert len(caught["scenario"]) > len(caught["promise"]) > 0
    assert len(caught[""]) <= 0.05 * 150, caught[""]


def test_mutants_are_many_and_each_is_named_once() -> None:
    names = [m.name for m in mutants(built_in(1))]
    assert len(names) == len(set(names)) > 1000
