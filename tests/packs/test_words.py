"""The trade's other words for parts, systems and events: each finds its entry, and none stands for two."""

from __future__ import annotations

from collections import Counter

import pytest
from command import built_in
from knockon.engine.diagnostics.nearest import called, offer, titled

KINDS = ("parts", "systems", "events")


@pytest.mark.parametrize("kind", KINDS)
def test_no_word_stands_for_two_entries(kind: str) -> None:
    names = getattr(built_in(), kind)
    words = [w.lower() for also in called(names).values() for w in also]
    ids = {n for id_ in names for n in (id_, id_.replace("_", " "))}
    titles = {t.lower() for t in titled(names).values()}
    assert {w: n for w, n in Counter(words).items() if n > 1} == {}
    assert not {*words} & (ids | titles)


@pytest.mark.parametrize("kind", KINDS)
def test_every_word_finds_its_entry(kind: str) -> None:
    names = getattr(built_in(), kind)
    astray = {
        word: found
        for id_, also in called(names).items()
        for word in also
        if (found := offer(word, names, kind)[0]) != id_
    }
    assert astray == {}


@pytest.mark.parametrize(
    ("kind", "typed", "found"),
    [
        ("parts", "tow bar", "hitch"),
        ("parts", "bonnet", "hood"),
        ("parts", "windshield", "windscreen"),
        ("parts", "Boot_Lid", "liftgate_trunk"),
        ("parts", "core support", "radiator_support"),
        ("systems", "tow bar", "trailer_module"),
        ("systems", "blind spot monitor", "radar_corner_rear"),
        ("events", "battery off", "ev_lv_off"),
        ("events", "seat removed", "ev_seat_out"),
    ],
)
def test_what_the_trade_says_finds_what_the_file_says(kind: str, typed: str, found: str) -> None:
    assert offer(typed, getattr(built_in(), kind), kind) == (found, "")


@pytest.mark.parametrize("typed", ["fascia", "bumper", "front seat"])
def test_a_word_that_fits_several_parts_offers_them_and_takes_none(typed: str) -> None:
    hint, step = offer(typed, built_in().parts, "part")
    assert hint == ""
    assert step.startswith("one of: ")
    assert step.count("(") > 1
