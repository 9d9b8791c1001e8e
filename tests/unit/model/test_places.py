"""The small algebra of places: sides, ends and corners of one vehicle."""

from __future__ import annotations

from itertools import product

import pytest
from knockon.engine.model.places import CORNERS, KEPT_BY, PLACES, expand, join, meets

PAIRS = list(product(PLACES, PLACES))


def contradict(one: str, other: str) -> bool:
    """Told apart by words alone: left against right, front against rear."""
    words = {*one.split("_"), *other.split("_")}
    return {"left", "right"} <= words or {"front", "rear"} <= words


def test_the_nine_places() -> None:
    assert len(PLACES) == len(set(PLACES)) == 9
    assert set(PLACES) == {w for words in KEPT_BY.values() for w in words}


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_places_meet_unless_they_contradict(one: str, other: str) -> None:
    assert meets(one, other) == (not contradict(one, other))
    assert meets(one, other) == meets(other, one)


@pytest.mark.parametrize("place", PLACES)
def test_every_place_meets_itself_and_the_whole_vehicle(place: str) -> None:
    assert meets(place, place)
    assert meets(place, "")


@pytest.mark.parametrize(("place", "per"), list(product(PLACES, KEPT_BY)))
def test_expansion_is_what_meets_in_fixed_order(place: str, per: str) -> None:
    kept = expand(place, per)
    assert list(kept) == [k for k in KEPT_BY[per] if meets(k, place)]
    assert kept, "nothing planned is ever lost for its place"


def test_expansion_by_example() -> None:
    assert expand("front", "corner") == ("front_left", "front_right")
    assert expand("left", "corner") == ("front_left", "rear_left")
    assert expand("rear_right", "side") == ("right",)
    assert expand("rear_right", "end") == ("rear",)
    assert expand("front", "side") == ("left", "right")
    assert expand("", "corner") == CORNERS
    assert expand("front_left", "vehicle") == ("",)


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_expanding_to_corners_keeps_what_meets(one: str, other: str) -> None:
    """Two places meet exactly when they share a corner."""
    assert meets(one, other) == bool(set(expand(one, "corner")) & set(expand(other, "corner")))


def test_join() -> None:
    assert {join(e, s) for e, s in product(("", "front", "rear"), ("", "left", "right"))} == set(PLACES)
    assert join("front", "left") == "front_left"
    assert (join("rear", ""), join("", "right"), join("", "")) == ("rear", "right", "")


def test_a_word_that_is_no_place_is_an_error() -> None:
    with pytest.raises(KeyError):
        meets("middle", "left")
    with pytest.raises(KeyError):
        expand("left", "door")
