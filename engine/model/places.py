"""Where on the vehicle: the small algebra of sides, ends and corners.

A place is one of nine words; the empty word means the whole vehicle (or: not said). Left and right are the
vehicle's own, seated facing forward.
"""

from __future__ import annotations

from typing import Final

PLACES: Final = (
    "",
    "left",
    "right",
    "front",
    "rear",
    "front_left",
    "front_right",
    "rear_left",
    "rear_right",
)
CORNERS: Final = ("front_left", "front_right", "rear_left", "rear_right")
KEPT_BY: Final = {
    "vehicle": ("",),
    "side": ("left", "right"),
    "end": ("front", "rear"),
    "corner": CORNERS,
}


def _covers(place: str) -> frozenset[str]:
    """The corners a place covers; the whole vehicle covers all four."""
    return frozenset(c for c in CORNERS if not place or place in c.split("_") or place == c)


_COVERED: Final = {place: _covers(place) for place in PLACES}


def meets(one: str, other: str) -> bool:
    """True when the two places share a corner: `front` meets `front_left`, `left` does not meet `right`."""
    return bool(_COVERED[one] & _COVERED[other])


_EXPANDED: Final = {
    (place, per): tuple(kept for kept in KEPT_BY[per] if not kept or meets(kept, place))
    for place in PLACES
    for per in KEPT_BY
}


def expand(place: str, per: str) -> tuple[str, ...]:
    """The places of granularity `per` (vehicle, side, end, corner) that `place` touches, in fixed order."""
    return _EXPANDED[place, per]


def join(end: str, side: str) -> str:
    """Put an end and a side together: ('front', 'left') -> 'front_left'; either may be empty."""
    return f"{end}_{side}" if end and side else end or side
