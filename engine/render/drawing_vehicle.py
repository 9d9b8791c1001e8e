"""The vehicle from above with its front up: where the force came from, zones hit, parts touched, sensors concerned.

The left of the vehicle (seated facing forward) is the left of the drawing. Positions are schematic.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from math import cos, hypot, pi, sin
from typing import Any, Final

from .words import ACTION, clean, spoken

WIDTH, HEIGHT, MIDDLE = 360, 566, 180
_CELL: Final = 24
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
_MIRRORED: Final = {"fl": "fr", "lf": "rf", "lm": "rm", "lq": "rq", "bl": "br", "wfl": "wfr", "wrl": "wrr"}
_ANCHORS: Final = {
    "": (180, 292),
    "front": (180, 36),
    "rear": (180, 530),
    "left": (48, 280),
    "front_left": (48, 120),
    "rear_left": (48, 450),
}
# Where such a device usually sits: distance from the middle (0: in the middle, else on both sides) and from the front.
_SPOTS: Final = {
    "radar_front": (0, 72),
    "night_vision": (24, 84),
    "lidar": (24, 72),
    "radar_corner_front": (72, 84),
    "headlamp": (48, 84),
    "ultrasonic": (48, 60),
    "srs_ped_sensor": (24, 60),
    "srs_front_sensor": (48, 108),
    "hood_popup": (48, 180),
    "cooling": (0, 108),
    "lv_battery": (24, 132),
    "abs_esc": (48, 156),
    "eps": (0, 156),
    "cam_front": (0, 204),
    "rain_light": (24, 204),
    "hud": (48, 228),
    "sas": (0, 228),
    "dms": (24, 228),
    "imu": (0, 300),
    "srs_acm": (0, 276),
    "srs_side_pressure": (72, 252),
    "srs_side_accel": (72, 300),
    "ab_curtain": (72, 276),
    "ocs_strain": (24, 276),
    "ocs_bladder": (24, 276),
    "ocs_capacitive": (24, 276),
    "seat_pos": (24, 300),
    "belt_buckle": (24, 324),
    "belt_front": (48, 300),
    "belt_rear": (48, 372),
    "cam_surround": (72, 228),
    "cam_monitor": (72, 228),
    "cam_rear": (0, 492),
    "radar_corner_rear": (72, 468),
    "hv_battery": (0, 348),
    "fuel_system": (0, 420),
    "tpms": (72, 180),
}


@dataclass(frozen=True, slots=True)
class Marked:
    """A mark on the drawing and what it stands for; `drawn` is False when there was no room or no known spot."""

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
            said.append("Parts: " + "; ".join(f"{p.title}, {p.words}" for p in self.parts) + ".")
        if self.sensors:
            said.append("Fitted systems concerned: " + ", ".join(s.title for s in self.sensors) + ".")
        return " ".join(said)


def drawing_vehicle(picture: Mapping[str, Any], id_: str = "vehicle") -> VehicleDrawing:
    """Draw what is known; what is unknown is left out and the caption says so."""
    clock = next((int(c) for c in picture.get("clock", ()) if str(c).isdigit()), None)
    cells = _free_cells(clock)
    marks: list[str] = []
    sensors = [_sensor(n, s, cells, marks) for n, s in enumerate(picture.get("sensors", ()), 1)]
    parts = [_part(n, p, cells, marks) for n, p in enumerate(_united(picture.get("parts", ())), 1)]
    zones, shapes = _hit(picture.get("zones", ()))
    none = "none" in picture.get("clock", ())
    force = f"Force from {clock} o'clock (12 is straight ahead)." if clock else (
        "No horizontal force." if none else "Direction of the force not known yet."
    )  # fmt: skip
    body = "".join((_outline(), *shapes, _arrow(clock), *marks))
    drawing = VehicleDrawing("", force, tuple(zones), tuple(parts), tuple(sensors))
    svg = (
        f'<svg class="vehicle" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{id_}t {id_}d">'
        f'<title id="{id_}t">The vehicle from above, front up</title>'
        f'<desc id="{id_}d">{escape(clean(drawing.words, 3000))}</desc>'
        f'<defs><pattern id="{id_}h" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><path d="M0 0V7" stroke="currentColor" stroke-width="2.4"/></pattern></defs>'
        f"{body.replace('#hatch', f'#{id_}h')}</svg>"
    )
    return VehicleDrawing(svg, force, tuple(zones), tuple(parts), tuple(sensors))


def spot(place: str) -> tuple[int, int]:
    """The anchor of a place; the right is the mirror image of the left."""
    if "right" in place:
        x, y = _ANCHORS[place.replace("right", "left")]
        return 2 * MIDDLE - x, y
    return _ANCHORS.get(place, _ANCHORS[""])


def _hit(zones: Sequence[str]) -> tuple[list[str], list[str]]:
    mirrored = {right: left for left, right in _MIRRORED.items()}
    names, shapes = [], []
    for zone in zones:
        name, box = _ZONES.get(mirrored.get(zone, zone), (spoken(str(zone)), None))
        if box is not None:
            x0, y0, x1, y1 = box
            if zone in mirrored:
                name, x0, x1 = name.replace("left", "right"), 2 * MIDDLE - x1, 2 * MIDDLE - x0
            under = " under" if zone[0] == "u" else ""
            shapes.append(
                f'<rect class="zone{under}" data-zone="{zone}" x="{x0}" y="{y0}" '
                f'width="{x1 - x0}" height="{y1 - y0}" fill="url(#hatch)"/>'
            )
        names.append(name)
    return names, shapes


def _united(parts: Sequence[Mapping[str, Any]]) -> list[tuple[str, str, str]]:
    """Title, place and words of each part once, work before damage."""
    found: dict[tuple[str, str], list[str]] = {}
    titles: dict[tuple[str, str], str] = {}
    for part in parts:
        key = (part["part"], part["place"])
        titles[key] = part["title"]
        found.setdefault(key, []).extend(spoken(w, ACTION) for w in part["words"])
    return [(titles[key], key[1], ", ".join(dict.fromkeys(words))) for key, words in found.items()]


def _free_cells(clock: int | None) -> list[tuple[int, int]]:
    cells = [(MIDDLE + _CELL * k, 36 + _CELL * j) for k in range(-6, 7) for j in range(22)]
    if clock is None:
        return cells
    ax, ay, bx, by = _force_line(clock)
    points = [(ax + (bx - ax) * i / 6, ay + (by - ay) * i / 6) for i in range(7)]
    return [(x, y) for x, y in cells if min(hypot(x - px, y - py) for px, py in points) > 22]


def _take(cells: list[tuple[int, int]], near: tuple[int, int], place: str) -> tuple[int, int] | None:
    """The nearest free cell that lies on the side and at the end a place names."""
    sided = [
        (x, y)
        for x, y in cells
        if (x < MIDDLE or "left" not in place)
        and (x > MIDDLE or "right" not in place)
        and (y < HEIGHT / 2 or "front" not in place)
        and (y > HEIGHT / 2 or "rear" not in place)
    ]
    if not sided:
        return None
    cell = min(sided, key=lambda c: (hypot(c[0] - near[0], c[1] - near[1]), c))
    cells.remove(cell)
    return cell


def _part(
    number: int, part: tuple[str, str, str], cells: list[tuple[int, int]], marks: list[str]
) -> Marked:
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


def _sensor(
    number: int, sensor: Mapping[str, Any], cells: list[tuple[int, int]], marks: list[str]
) -> Marked:
    known = _SPOTS.get(sensor["system"])
    drawn = False
    if known is not None:
        out, y = known
        for side, at in (("left", MIDDLE - out), ("right", MIDDLE + out)) if out else (("", MIDDLE),):
            cell = _take(cells, (at, y), side)
            drawn = drawn or cell is not None
            if cell:
                marks.append(
                    f'<g class="sensor" data-side="{side}"><rect x="{cell[0] - 11}" y="{cell[1] - 9}" width="22" '
                    f'height="18"/><text x="{cell[0]}" y="{cell[1] + 4}" text-anchor="middle">S{number}</text></g>'
                )
    return Marked(f"S{number}", sensor["title"], "", "", drawn)


def _force_line(clock: int) -> tuple[float, float, float, float]:
    """From outside to the skin, seen from above: 12 comes from the top of the drawing, 3 from the right."""
    turn = clock * pi / 6
    x, y = sin(turn), -cos(turn)
    return MIDDLE + x * 172, 282 + y * 276, MIDDLE + x * 106, 282 + y * 224


def _arrow(clock: int | None) -> str:
    if clock is None:
        return ""
    ax, ay, bx, by = _force_line(clock)
    along = hypot(bx - ax, by - ay)
    ux, uy = (bx - ax) / along, (by - ay) / along
    mx, my = bx - ux * 18, by - uy * 18
    head = f"M{bx:.1f} {by:.1f}L{mx - uy * 12:.1f} {my + ux * 12:.1f}L{mx + uy * 12:.1f} {my - ux * 12:.1f}Z"
    return f'<path class="force" d="M{ax:.1f} {ay:.1f}L{mx:.1f} {my:.1f}"/><path class="tip" d="{head}"/>'


def _outline() -> str:
    wheels = "".join(
        f'<rect class="wheel" x="{x}" y="{y}" width="22" height="58" rx="6"/>' for x in (76, 262) for y in (132, 368)
    )
    body = "M122 62Q180 50 238 62Q268 70 270 112V452Q268 494 238 500Q180 510 122 500Q92 494 90 452V112Q92 70 122 62Z"
    glass = "M112 222Q180 196 248 222L236 250Q180 236 124 250ZM124 344Q180 356 236 344L244 372Q180 388 116 372Z"
    words = (
        f'<text x="6" y="16">front is up</text><text x="4" y="{HEIGHT - 8}">left</text>'
        f'<text x="{WIDTH - 4}" y="{HEIGHT - 8}" text-anchor="end">right</text>'
    )
    return f'{wheels}<path class="body" d="{body}"/><path class="glass" d="{glass}"/>{words}'
