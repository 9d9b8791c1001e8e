"""What a command keeps is not searched for garbage; what comes after it is."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest
from knockon.cli.memory import kept


@pytest.fixture(autouse=True)
def _as_before() -> Iterator[None]:
    yield
    gc.unfreeze()
    gc.enable()


def test_nothing_is_searched_while_it_is_made_and_never_afterwards() -> None:
    before = gc.get_freeze_count()
    with kept():
        assert not gc.isenabled()
        made = [[n] for n in range(1000)]
    assert gc.isenabled()
    assert gc.get_freeze_count() >= before + len(made)


def test_searching_goes_on_after_an_error() -> None:
    with pytest.raises(ValueError, match="wrong"), kept():
        raise ValueError("wrong")
    assert gc.isenabled()


def test_a_process_that_does_not_search_is_left_so() -> None:
    gc.disable()
    with kept():
        pass
    assert not gc.isenabled()
