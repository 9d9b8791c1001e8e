"""Strengths: a chain is as strong as its weakest link, a line as its strongest support."""

from __future__ import annotations

from itertools import permutations

import pytest
from knockon.engine.model.rule import STRENGTHS, strongest, weakest


def test_the_order() -> None:
    assert STRENGTHS == ("check_whether", "unless_procedure", "required")


@pytest.mark.parametrize("some", [p for n in (1, 2, 3) for p in permutations(STRENGTHS, n)])
def test_bounds(some: tuple[str, ...]) -> None:
    assert strongest(*some) == max(some, key=STRENGTHS.index)
    assert weakest(*some) == min(some, key=STRENGTHS.index)
    assert strongest(*some, *some) == strongest(*some)


def test_each_undoes_the_other() -> None:
    """Absorption: the two are the join and the meet of one order."""
    for a in STRENGTHS:
        for b in STRENGTHS:
            assert strongest(a, weakest(a, b)) == weakest(a, strongest(a, b)) == a


def test_a_word_that_is_no_strength_is_an_error() -> None:
    with pytest.raises(KeyError, match="maybe"):
        strongest("maybe", "required")
