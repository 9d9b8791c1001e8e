"""Records against the standard library's data classes: the same class body, made both ways, behaves the same."""

from __future__ import annotations

import copy
import dataclasses
import pickle
from collections.abc import Callable
from typing import Any

import pytest
from knockon.engine.model import record


def _bodies(maker: Callable[..., Any], field: Callable[..., Any]) -> dict[str, type]:
    """The same classes through one of the two decorators, with its own way to describe a field."""

    @maker(frozen=True, slots=True)
    class Plain:
        name: str
        places: tuple[str, ...] = ()
        note: str = ""

    @maker(frozen=True, slots=True)
    class Made:
        name: str
        also: dict[str, int] = field(default_factory=dict)
        figure: str = field(default="", compare=False)

        def shout(self) -> str:
            """A method of its own."""
            return self.name.upper()

    @maker(slots=True)
    class Changing:
        count: int
        seen: list[int] = field(default_factory=list)
        doubled: int = field(init=False)

        def __post_init__(self) -> None:
            self.doubled = 2 * self.count

    @maker(slots=True)
    class Counted:
        count: int
        name: str = ""

    @maker(frozen=True, slots=True)
    class Named:
        id: str
        title: str = ""

        def __hash__(self) -> int:
            return hash(self.id)

    @maker(frozen=True, slots=True)
    class Keyed:
        id: str
        title: str = ""

        def __eq__(self, other: object) -> bool:
            return isinstance(other, Keyed) and self.id == other.id

        def __hash__(self) -> int:
            return hash(self.id)

    return {c.__name__: c for c in (Plain, Made, Changing, Counted, Named, Keyed)}


OURS, THEIRS = _bodies(record.dataclass, record.field), _bodies(dataclasses.dataclass, dataclasses.field)
CALLS: list[tuple[str, tuple[Any, ...], dict[str, Any]]] = [
    ("Plain", ("a",), {}),
    ("Plain", ("a", ("left",)), {"note": "n"}),
    ("Plain", (), {"name": "a"}),
    ("Plain", (), {}),
    ("Plain", ("a", (), "", "too much"), {}),
    ("Plain", ("a",), {"nme": "b"}),
    ("Plain", ("a",), {"name": "twice"}),
    ("Made", ("a",), {}),
    ("Made", ("a", {"b": 1}, "fig"), {}),
    ("Changing", (3,), {}),
    ("Changing", (3, [1]), {}),
    ("Changing", (3, [1], 6), {}),
    ("Named", ("a",), {"title": "t"}),
    ("Keyed", ("a", "t"), {}),
]


def _told(kinds: dict[str, type], name: str, args: tuple[Any, ...], given: dict[str, Any]) -> Any:
    try:
        made: Any = kinds[name](*args, **given)
    except TypeError:
        return TypeError
    return [
        repr(made).rpartition(".")[2],
        dataclasses.asdict(made),
        [f.name for f in dataclasses.fields(made)],
        type(made).__match_args__,
        type(made).__slots__,
        hasattr(made, "__dict__"),
        dataclasses.is_dataclass(made),
    ]


@pytest.mark.parametrize(("name", "args", "given"), CALLS, ids=str)
def test_made_shown_and_listed_as_by_the_standard_library(
    name: str, args: tuple[Any, ...], given: dict[str, Any]
) -> None:
    assert _told(OURS, name, args, given) == _told(THEIRS, name, args, given)


@pytest.mark.parametrize("before", [0, record.FEW - 1, record.FEW, 3 * record.FEW])
def test_the_first_of_a_class_is_made_as_all_the_others(before: int) -> None:
    """The first few are filled in, the rest by an `__init__` compiled for the class; wrong ones are refused by both."""
    for name, args, given in CALLS:
        kinds: dict[str, Any] = _bodies(record.dataclass, record.field)
        for _ in range(before):
            kinds[name](1)
        assert _told(kinds, name, args, given) == _told(THEIRS, name, args, given)
        compiled = "__init__" in vars(kinds[name]) and kinds[name].__init__ is not record._first_init
        assert compiled is (before >= record.FEW or _told(THEIRS, name, args, given) is TypeError)


@pytest.mark.parametrize("name", OURS)
def test_compared_and_hashed_as_by_the_standard_library(name: str) -> None:
    def told(kinds: dict[str, type]) -> Any:
        kind: Any = kinds[name]
        first, *second = ("a", "b") if name != "Changing" else (1, [2])
        one, same, other = kind(first), kind(first), kind(first, *second)
        try:
            hashes: Any = (hash(one) == hash(same), hash(one) == hash(other), len({one, same, other}))
        except TypeError:
            hashes = TypeError
        return one == same, one == other, one != other, one == first, hashes

    assert told(OURS) == told(THEIRS)


def test_a_field_left_out_of_comparison_is_left_out_of_the_hash_too() -> None:
    kind: Any = OURS["Named"]
    assert hash(kind("a", "one")) == hash(kind("a", "other"))
    assert kind("a", "one") != kind("a", "other")
    made: Any = OURS["Made"]
    assert made("a", {}, "one") == made("a", {}, "other")


def test_no_two_records_share_a_default_made_for_each() -> None:
    kind: Any = OURS["Changing"]
    one, other = kind(1), kind(1)
    one.seen.append(5)
    assert other.seen == []


def test_replace_copies_the_rest_and_makes_anew_what_is_made_last() -> None:
    kind: Any = OURS["Changing"]
    one = kind(2, [7])
    other = record.replace(one, count=5)
    assert (other.count, other.seen, other.doubled, one.count) == (5, [7], 10, 2)
    assert dataclasses.replace(OURS["Plain"]("a"), note="n") == record.replace(OURS["Plain"]("a"), note="n")
    with pytest.raises(TypeError):
        record.replace(one, cuont=5)


@pytest.mark.parametrize("maker", [record.dataclass, dataclasses.dataclass], ids=["ours", "theirs"])
def test_a_mutable_default_that_every_record_would_share_is_refused(maker: Callable[..., Any]) -> None:
    with pytest.raises(ValueError, match="mutable default"):

        @maker(slots=True)
        class Shared:
            seen: list[int] = []  # noqa: RUF012 - what is refused


@record.dataclass(frozen=True, slots=True, weakref_slot=True)
class Kept:
    """One that can be found by name."""

    name: str
    places: tuple[str, ...] = ()


def test_records_can_be_copied_sent_to_another_process_and_held_weakly() -> None:
    import weakref

    one = Kept("a", ("left",))
    assert pickle.loads(pickle.dumps(one)) == one == copy.copy(one) == copy.deepcopy(one)
    assert weakref.ref(one)() is one
    assert record.is_dataclass(one)
    assert record.is_dataclass(Kept)
    assert not record.is_dataclass("a")
    assert record.field_names(Kept) == record.field_names(one) == ("name", "places")
