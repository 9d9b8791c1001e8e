"""The vehicle from above, front up: where the force came from, zones hit, parts touched, sensors concerned.

The left of the vehicle (seated facing forward) is the left of the drawing. Positions are schematic.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from math import cos, hypot, pi, sin
from typing import Any, Final

from ..model.answers import ACTION_WORDS
from ..model.record import dataclass, replace
from .words import clean, spoken

WIDTH, HEIGHT, MIDDLE = 360, 566, 180
_CELL: Final = 24
Point = tuple[float, float]
Cell = tuple[int, int]
# Left half and middle only: the right half is computed, so that the two can not be drawn differently.
_ZONES: Final = {
    "fl": ("front left corner", (86, 60, 140, 116)),
    "fc": ("front centre", (140, 60, 220, 116)),
    "lf": ("left front fender and wheel", (86, 116, 128, 206)),
    "lm": ("left doors, pillar and rocker", (86, 206, 128, 352)),
    "lq": ("left quarter and rear wheel", (86, 352, 128, 446)),
    "bl": ("rear left corner", (86, 446, 140, 504)),
    "bc": ("rear centre", (140, 446, 220, 504)),
    "rt": ("roof", (132, 232, 228, 340)),
    "cab": ("cabin", (128, 206, 232, 352)),
    "uf": ("front underside", (140, 124, 220, 200)),
    "um": ("middle underside", (140, 214, 220, 344)),
    "ub": ("rear underside", (140, 360, 220, 440)),
    "wfl": ("left front wheel", (76, 132, 98, 190)),
    "wrl": ("left rear wheel", (76, 368, 98, 426)),
}
_LEFT_OF: Final = {"fr": "fl", "rf": "lf", "rm": "lm", "rq": "lq", "br": "bl", "wfr": "wfl", "wrr": "wrl"}
_INSIDE: Final = ("rt", "cab", "uf", "um", "ub")
_ANCHORS: Final = {
    "": (180, 348),
    "front": (180, 36),
    "rear": (180, 530),
    "left": (48, 280),
    "front_left": (48, 120),
    "rear_left": (48, 450),
}
# Where such devices usually sit: how far from the middle (to both sides, unless 0) and from the top.
_SPOTS: Final[Mapping[str, tuple[Cell, ...]]] = {
    "radar_front": ((0, 84),),
    "night_vision": ((24, 108),),
    "lidar": ((24, 84),),
    "radar_corner_front": ((72, 84),),
    "headlamp": ((48, 84),),
    "ultrasonic": ((48, 60), (48, 492)),
    "srs_ped_sensor": ((24, 60),),
    "srs_front_sensor": ((48, 108),),
    "hood_popup": ((48, 180),),
    "cooling": ((0, 108),),
    "lv_battery": ((24, 132),),
    "abs_esc": ((48, 156),),
    "eps": ((0, 156),),
    "tpms": ((72, 180), (72, 396)),
    "cam_front": ((0, 204),),
    "rain_light": ((24, 204),),
    "dms": ((24, 228),),
    "sas": ((0, 228),),
    "hud": ((48, 228),),
    "cam_surround": ((0, 60), (72, 228), (0, 492)),
    "cam_monitor": ((72, 228),),
    "srs_side_pressure": ((72, 252),),
    "srs_acm": ((0, 276),),
    "ocs_strain": ((24, 276),),
    "ocs_bladder": ((24, 276),),
    "ocs_capacitive": ((24, 276),),
    "ab_curtain": ((72, 276),),
    "imu": ((0, 300),),
    "seat_pos": ((24, 300),),
    "belt_front": ((48, 300),),
    "srs_side_accel": ((72, 300),),
    "belt_buckle": ((24, 324),),
    "belt_rear": ((48, 372),),
    "hv_battery": ((0, 396),),
    "fuel_system": ((0, 420),),
    "radar_corner_rear": ((72, 468),),
    "cam_rear": ((0, 492),),
}


@dataclass(frozen=True, slots=True)
class Marked:
    """A mark on the drawing and what it stands for; not `drawn`: no room, or nobody knows where it sits."""

    mark: str
    title: str
    place: str
    words: str
    drawn: bool


@dataclass(frozen=True, slots=True)
class VehicleDrawing:
    """The drawing and its caption as data: what a reader who cannot see it must be told."""

    svg: str
    force: str
    zones: tuple[str, ...]
    parts: tuple[Marked, ...]
    sensors: tuple[Marked, ...]

    @property
    def words(self) -> str:
        """The drawing as sentences."""
        said = [self.force, f"Zones hit: {', '.join(self.zones) or 'none named'}."]
        if self.parts:
            said.append(
                "Parts: "
                + "; ".join(f"{p.title}{' ' if p.place else ''}{p.place}: {p.words}" for p in self.parts)
                + "."
            )
        if self.sensors:
            said.append("Fitted systems concerned: " + ", ".join(s.title for s in self.sensors) + ".")
        return " ".join(said)


def drawing_vehicle(picture: Mapping[str, Any], id_: str = "vehicle") -> VehicleDrawing:
    """Draw what is known; what is unknown is left out and the caption says so."""
    clocks = [str(c) for c in picture.get("clock", ())]
    clock = next((int(c) for c in clocks if c.isdecimal() and 1 <= int(c) <= 12), None)
    zones = [str(z) for z in picture.get("zones", ())]
    force_line = _force_line(clock, zones) if clock else None
    cells, marks = _free_cells(force_line), list[str]()
    parts = tuple(_part(n, p, cells, marks) for n, p in enumerate(_united(picture.get("parts", ())), 1))
    sensors = tuple(_sensor(n, s, cells, marks) for n, s in enumerate(picture.get("sensors", ()), 1))
    force = "No horizontal force." if "none" in clocks else "Direction of the force not known yet."
    if clock:
        force = f"Force from {clock} o'clock (12 is straight ahead)."
    drawing = VehicleDrawing("", force, tuple(_zone_name(z) for z in zones), parts, sensors)
    shapes = "".join(_zone_shape(z, f"{id_}h") for z in zones if _LEFT_OF.get(z, z) in _ZONES)
    return replace(
        drawing,
        svg=f'<svg class="vehicle" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{id_}t {id_}d">'
        f'<title id="{id_}t">The vehicle from above, front up</title>'
        f'<desc id="{id_}d">{escape(clean(drawing.words, 3000))}</desc>'
        f'<defs><pattern id="{id_}h" width="7" height="7" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path d="M0 0V7" stroke="currentColor" stroke-width="2.4"/>'
        "</pattern></defs>"
        f"{_outline()}{shapes}{_arrow(force_line)}{''.join(marks)}</svg>",
    )


def spot(place: str) -> Cell:
    """Where marks of a place gather; the right is the mirror image of the left."""
    if "right" in place:
        x, y = _ANCHORS[place.replace("right", "left")]
        return 2 * MIDDLE - x, y
    return _ANCHORS.get(place, _ANCHORS[""])


def _zone_name(zone: str) -> str:
    if zone in _LEFT_OF:
        return _ZONES[_LEFT_OF[zone]][0].replace("left", "right")
    return _ZONES[zone][0] if zone in _ZONES else spoken(zone)


def _zone_box(zone: str) -> tuple[int, int, int, int]:
    x0, y0, x1, y1 = _ZONES[_LEFT_OF.get(zone, zone)][1]
    return (2 * MIDDLE - x1, y0, 2 * MIDDLE - x0, y1) if zone in _LEFT_OF else (x0, y0, x1, y1)


def _zone_shape(zone: str, hatch: str) -> str:
    x0, y0, x1, y1 = _zone_box(zone)
    under = " under" if zone in _INSIDE else ""
    return (
        f'<rect class="zone{under}" data-zone="{zone}" x="{x0}" y="{y0}" '
        f'width="{x1 - x0}" height="{y1 - y0}" fill="url(#{hatch})"/>'
    )


def _united(parts: Sequence[Mapping[str, Any]]) -> list[tuple[str, str, str]]:
    """Title, place and words of each part once, work before damage."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for part in parts:
        words = found.setdefault((part["part"], part["title"], part["place"]), [])
        said = [spoken(w, ACTION_WORDS) for w in part["words"]]
        words += [w for w in said if w not in words]
    return [(title, place, ", ".join(words)) for (_, title, place), words in found.items()]


def _free_cells(arrow: tuple[Point, Point] | None) -> list[Cell]:
    """A grid of places for marks, symmetrical about the middle, kept clear of the arrow."""
    cells = [(MIDDLE + _CELL * k, 36 + _CELL * j) for k in range(-6, 7) for j in range(22)]
    if arrow is None:
        return cells
    (ax, ay), (bx, by) = arrow
    points = [(ax + (bx - ax) * i / 6, ay + (by - ay) * i / 6) for i in range(7)]
    return [(x, y) for x, y in cells if min(hypot(x - px, y - py) for px, py in points) > 21]


def _take(cells: list[Cell], near: Cell, place: str) -> Cell | None:
    """The nearest free cell on the side and at the end that the place names."""
    fitting = [
        (x, y)
        for x, y in cells
        if (x < MIDDLE or "left" not in place)
        and (x > MIDDLE or "right" not in place)
        and (y < HEIGHT / 2 or "front" not in place)
        and (y > HEIGHT / 2 or "rear" not in place)
    ]
    if not fitting:
        return None
    # of equally near cells the outer one, so that both sides fill the same way
    cell = min(fitting, key=lambda c: (hypot(c[0] - near[0], c[1] - near[1]), -abs(c[0] - MIDDLE), c))
    cells.remove(cell)
    return cell


def _part(number: int, part: tuple[str, str, str], cells: list[Cell], marks: list[str]) -> Marked:
    title, place, words = part
    cell = _take(cells, spot(place), place)
    if cell:
        x, y = cell
        marks.append(
            f'<g class="part" data-place="{escape(place)}"><circle cx="{x}" cy="{y}" r="11"/>'
            f'<text x="{x}" y="{y + 4}" text-anchor="middle">P{number}</text></g>'
        )
    side = spoken(place) if "left" in place or "right" in place else ""
    return Marked(f"P{number}", title, side, words, cell is not None)


def _sensor(number: int, sensor: Mapping[str, Any], cells: list[Cell], marks: list[str]) -> Marked:
    drawn = False
    for out, down in _SPOTS.get(sensor["system"], ()):
        for side, across in (("left", MIDDLE - out), ("right", MIDDLE + out)) if out else (("", MIDDLE),):
            cell = _take(cells, (across, down), side)
            if cell:
                drawn, (x, y) = True, cell
                marks.append(
                    f'<g class="sensor" data-side="{side}">'
                    f'<rect x="{x - 11}" y="{y - 9}" width="22" height="18"/>'
                    f'<text x="{x}" y="{y + 4}" text-anchor="middle">S{number}</text></g>'
                )
    return Marked(f"S{number}", sensor["title"], "", "", drawn)


def _force_line(clock: int, zones: Sequence[str]) -> tuple[Point, Point]:
    """From tail to tip: seen from above 12 comes from the top of the drawing, 3 from its right.

    The tip is at the zones hit; with none named, where a ray to the middle of the vehicle meets its skin.
    """
    x, y = sin(clock * pi / 6), -cos(clock * pi / 6)
    boxes = [_zone_box(z) for z in zones if _LEFT_OF.get(z, z) in _ZONES and z not in _INSIDE]
    if boxes:
        across = sum(b[0] + b[2] for b in boxes) / len(boxes) / 2
        down = sum(b[1] + b[3] for b in boxes) / len(boxes) / 2
    else:
        reach = min(94 / abs(x) if abs(x) > 0.01 else 999, 224 / abs(y) if abs(y) > 0.01 else 999)
        across, down = MIDDLE + x * reach, 282 + y * reach
    return (across + x * 78, down + y * 78), (across + x * 8, down + y * 8)


def _arrow(line: tuple[Point, Point] | None) -> str:
    if line is None:
        return ""
    (ax, ay), (bx, by) = line
    along = hypot(bx - ax, by - ay)
    ux, uy = (bx - ax) / along, (by - ay) / along
    mx, my = bx - ux * 18, by - uy * 18
    head = f"M{bx:.1f} {by:.1f}L{mx - uy * 12:.1f} {my + ux * 12:.1f}L{mx + uy * 12:.1f} {my - ux * 12:.1f}Z"
    return f'<path class="force" d="M{ax:.1f} {ay:.1f}L{mx:.1f} {my:.1f}"/><path class="tip" d="{head}"/>'


def _outline() -> str:
    wheel = '<rect class="wheel" x="{}" y="{}" width="22" height="58" rx="6"/>'
    wheels = "".join(wheel.format(x, y) for x in (76, 262) for y in (132, 368))
    body = "M122 62Q180 50 238 62Q268 70 270 112V452Q268 494 238 500"
    body += "Q180 510 122 500Q92 494 90 452V112Q92 70 122 62Z"
    glass = (
        "M112 222Q180 196 248 222L236 250Q180 236 124 250ZM124 344Q180 356 236 344L244 372Q180 388 116 372Z"
    )
    words = (
        f'<text x="6" y="16">front is up</text><text x="6" y="{HEIGHT - 8}">left</text>'
        f'<text x="{WIDTH - 6}" y="{HEIGHT - 8}" text-anchor="end">right</text>'
    )
    return f'{wheels}<path class="body" d="{body}"/><path class="glass" d="{glass}"/>{words}'
