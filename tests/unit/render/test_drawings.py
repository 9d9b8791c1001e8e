"""The drawings: left is never right, inside is never outside, and each says in words what it shows."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.model.places import PLACES
from knockon.engine.model.plan import Plan
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.render.drawing_log import drawing_log
from knockon.engine.render.drawing_order import drawing_order, reduced
from knockon.engine.render.drawing_strip import drawing_strip, reading_words
from knockon.engine.render.drawing_vehicle import HEIGHT, MIDDLE, drawing_vehicle
from knockon.engine.render.sheet import Sheet
from sample_plan import LINE, LOG, PICTURE, PLAN, READING

SIDED = [p for p in PLACES if "left" in p or "right" in p]


def parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def picture(**changes: Any) -> dict[str, Any]:
    return {"clock": [], "area": [], "zones": [], "parts": [], "sensors": [], **changes}


def part(place: str, name: str = "a") -> dict[str, Any]:
    return {"part": name, "title": f"part {name}", "place": place, "kind": "touched", "words": ["rr"]}


def marks(svg: str, kind: str) -> list[tuple[str, float, float]]:
    """Side word and centre of each mark."""
    found = []
    for g in parsed(svg).iter("g"):
        if g.get("class") == kind:
            shape = g[0]
            x = float(shape.get("cx") or float(shape.get("x", 0)) + float(shape.get("width", 0)) / 2)
            y = float(shape.get("cy") or float(shape.get("y", 0)) + float(shape.get("height", 0)) / 2)
            found.append((g.get("data-place") or g.get("data-side") or "", x, y))
    return found


@given(places=st.lists(st.sampled_from(PLACES), min_size=1, max_size=60), clock=st.sampled_from(range(13)))
def test_left_parts_are_drawn_left_and_front_parts_in_front(places: list[str], clock: int) -> None:
    parts = [part(place, str(n)) for n, place in enumerate(places)]
    drawn = drawing_vehicle(picture(parts=parts, clock=[str(clock)] if clock else []))
    found = marks(drawn.svg, "part")
    for place, x, y in found:
        assert "left" not in place or x < MIDDLE
        assert "right" not in place or x > MIDDLE
        assert "front" not in place or y < HEIGHT / 2
        assert "rear" not in place or y > HEIGHT / 2
    assert len({(x, y) for _, x, y in found}) == len(found)
    assert sum(p.drawn for p in drawn.parts) == len(found)


@pytest.mark.parametrize("place", [p for p in PLACES if "left" in p])
def test_right_is_the_mirror_image_of_left(place: str) -> None:
    left = marks(drawing_vehicle(picture(parts=[part(place)])).svg, "part")[0]
    right = marks(drawing_vehicle(picture(parts=[part(place.replace("left", "right"))])).svg, "part")[0]
    assert (2 * MIDDLE - left[1], left[2]) == right[1:]


@pytest.mark.parametrize("place", SIDED)
def test_the_caption_names_the_side(place: str) -> None:
    assert drawing_vehicle(picture(parts=[part(place)])).parts[0].place == place.replace("_", " ")


def test_zones_lie_where_the_vocabulary_says(program: Program) -> None:
    spec = program.facts["zone"]
    for zone, place in spec.places.items():
        svg = drawing_vehicle(picture(zones=[zone])).svg
        shapes = [r for r in parsed(svg).iter("rect") if r.get("data-zone") == zone]
        assert len(shapes) == 1, zone
        x = float(shapes[0].get("x", 0)) + float(shapes[0].get("width", 0)) / 2
        y = float(shapes[0].get("y", 0)) + float(shapes[0].get("height", 0)) / 2
        assert ("left" in place) == (x < MIDDLE - 1), zone
        assert ("right" in place) == (x > MIDDLE + 1), zone
        assert "front" not in place or y < HEIGHT / 2, zone
        assert "rear" not in place or y > HEIGHT / 2, zone


def test_zone_names_say_the_side_that_is_drawn(program: Program) -> None:
    spec = program.facts["zone"]
    for zone, place in spec.places.items():
        name = drawing_vehicle(picture(zones=[zone])).zones[0]
        assert ("left" in place) == ("left" in name), zone
        assert ("right" in place) == ("right" in name), zone


@pytest.mark.parametrize(
    ("clock", "left_to_right", "top_to_bottom"),
    [
        ("12", 0, 1),
        ("3", -1, 0),
        ("6", 0, -1),
        ("9", 1, 0),
        ("11", 1, 1),
        ("1", -1, 1),
        ("5", -1, -1),
        ("7", 1, -1),
    ],
)
@pytest.mark.parametrize("zones", [[], ["fl"], ["br", "rt"]])
def test_the_force_comes_from_its_hour(
    clock: str, left_to_right: int, top_to_bottom: int, zones: list[str]
) -> None:
    svg = drawing_vehicle(picture(clock=[clock], zones=zones)).svg
    way = re.search(r'class="force" d="M([-\d.]+) ([-\d.]+)L([-\d.]+) ([-\d.]+)"', svg)
    assert way is not None
    ax, ay, bx, by = map(float, way.groups())
    goes = [(to > at + 1) - (to < at - 1) for at, to in ((ax, bx), (ay, by))]
    assert goes == [left_to_right, top_to_bottom]


def test_sensors_of_a_pair_are_drawn_on_both_sides() -> None:
    svg = drawing_vehicle(PICTURE).svg
    found = marks(svg, "sensor")
    assert sorted(side for side, _, _ in found) == ["left", "right"]
    assert all((side == "left") == (x < MIDDLE) for side, x, _ in found)


def test_what_nobody_can_place_is_named_not_guessed() -> None:
    drawn = drawing_vehicle(PICTURE)
    assert [(s.mark, s.drawn) for s in drawn.sensors] == [("S1", True), ("S2", False)]
    assert "own zone" in drawn.zones
    assert [p.words for p in drawn.parts] == ["replaced, bent", "repaired"]


@pytest.mark.parametrize(
    ("clock", "words"),
    [
        ([], "not known yet"),
        (["none"], "No horizontal force"),
        (["11"], "from 11 o'clock"),
        (["99"], "not known yet"),
    ],
)
def test_the_force_in_words(clock: list[str], words: str) -> None:
    assert words in drawing_vehicle(picture(clock=clock)).force


def test_more_parts_than_room_are_still_named() -> None:
    drawn = drawing_vehicle(picture(parts=[part("left", str(n)) for n in range(200)]))
    assert len(drawn.parts) == 200
    assert not all(p.drawn for p in drawn.parts)


def every_drawing() -> dict[str, str]:
    return {
        "vehicle": drawing_vehicle(PICTURE).svg,
        "order": drawing_order(Sheet.of(PLAN)),
        "strip": drawing_strip(READING, "r1"),
        "log": drawing_log(LOG),
    }


@pytest.mark.parametrize("svg", every_drawing().values(), ids=every_drawing())
def test_every_drawing_has_a_name_and_a_description(svg: str) -> None:
    root = parsed(svg)
    assert root.get("role") == "img"
    ids = {e.get("id"): e for e in root.iter() if e.get("id")}
    for named in root.get("aria-labelledby", "").split():
        assert len("".join(ids[named].itertext())) > 5


def test_the_strip_in_words_says_everything_it_shows() -> None:
    said = "empty reading: -1.5 to 1 kg (12 readings); limits -3 to 3 kg; earlier -0.5 to 0.5 kg; "
    assert reading_words(READING) == said + "uncertainty ±0.25 kg; verdict: within"
    bare = replace(
        READING, limit_low=None, limit_high=None, earlier_low=None, uncertainty=None, low=1.0, count=1
    )
    assert reading_words(bare) == "empty reading: 1 kg; no limit on file; verdict: within"
    assert drawing_strip(bare, "r") == ""


figure = st.decimals(-50, 50, places=2).map(float)


@given(a=figure, b=figure, low=st.none() | figure, high=st.none() | figure)
def test_a_strip_draws_inside_as_inside(a: float, b: float, low: float | None, high: float | None) -> None:
    a, b = sorted((a, b))
    if low is not None and high is not None:
        low, high = sorted((low, high))
    if low is None and high is None:
        return
    root = parsed(drawing_strip(replace(READING, low=a, high=b, limit_low=low, limit_high=high), "r"))
    bars = {r.get("class"): (float(r.get("x", 0)), float(r.get("width", 0))) for r in root.iter("rect")}
    left, width = bars["present"]
    accepted, room = bars["accepted"]
    assert left >= 0
    assert left + width <= 360
    slack = 2.2  # a point is drawn four units wide
    if low is not None and a >= low:
        assert left >= accepted - slack
    if high is not None and b <= high:
        assert left + width <= accepted + room + slack
    if low is not None and b < low:
        assert left + width <= accepted + slack
    if high is not None and a > high:
        assert left >= accepted + room - slack


def test_a_reading_far_out_is_marked_as_beyond_what_is_shown() -> None:
    assert drawing_strip(replace(READING, low=90.0, high=91.0), "r").count('class="beyond"') == 1
    assert drawing_strip(replace(READING, low=-90.0, high=91.0), "r").count('class="beyond"') == 2


def test_the_order_leaves_out_what_another_line_already_waits_for() -> None:
    a, b, c = (replace(LINE, id=i, after=after) for i, after in (("a", ()), ("b", ("a",)), ("c", ("a", "b"))))
    assert reduced((a, b, c)) == {"a": (), "b": ("a",), "c": ("b",)}


def test_what_comes_first_stands_above(real_plans: dict[str, Plan]) -> None:
    for plan in real_plans.values():
        sheet = Sheet.of(plan)
        if not sheet.planned:
            continue
        boxes = list(parsed(drawing_order(sheet)).iter("g"))
        tops = {int(g[1].text or 0): float(g[0].get("y", 0)) for g in boxes}
        assert len(tops) == len(sheet.planned)
        for line in sheet.planned:
            for first in line.after:
                if first in sheet.numbers:
                    assert tops[sheet.numbers[first]] < tops[sheet.numbers[line.id]]


def test_a_line_that_waits_for_many_is_drawn_under_a_bar() -> None:
    many = [replace(LINE, id=f"a{n}") for n in range(9)]
    last = replace(LINE, id="z", after=tuple(line.id for line in many))
    svg = drawing_order(Sheet.of(replace(PLAN, lines=(*many, last))))
    assert svg.count('class="gate"') == 1
    assert 'class="edge"' not in svg


def test_an_empty_plan_and_an_empty_log_have_no_drawing() -> None:
    assert drawing_order(Sheet.of(replace(PLAN, lines=()))) == ""
    assert drawing_log(()) == ""


def test_an_event_points_at_the_newest_result_before_it() -> None:
    svg = drawing_log(LOG)
    assert svg.count('class="voids"') == 1
    assert "#p-void" in svg
    assert "#p-failed" in svg
    assert "took away seat_check, look" in svg


def test_a_long_log_draws_its_end_and_says_so() -> None:
    svg = drawing_log(LOG * 60)
    assert "Only the last 60 are drawn." in svg
    assert svg.count("<use ") == 60
