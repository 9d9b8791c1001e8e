"""One line that shows limits, the earlier range and the present range, readable without colour.

-7         [·············###·····o··························]         7 lb
"""

from __future__ import annotations

from ..measure.figures import say
from ..measure.reading import Limit, Reading
from ..model.plan import ReadingSeen

_OUTSIDE = 0.25  # room shown beyond a limit, as a share of the width between the limits
_SMALLEST = 24  # cells of picture below which inside and outside can no longer be told apart


def strip(limit: Limit, earlier: Reading | None, present: Reading, width: int = 72) -> str:
    """Draw the picture in at most `width` characters (more only if the figures alone need it).

    `·` accepted, `[` `]` the limits, `o` earlier, `#` present, `@` both, `<` `>` further out than is shown.
    """
    left = "" if limit.low is None else f"{say(limit.low)} "
    right = f" {limit.unit}" if limit.high is None else f" {say(limit.high)} {limit.unit}"
    now = present.to(limit.unit)
    before = None if earlier is None else earlier.to(limit.unit)
    scale = _Scale(
        limit, [r for r in (before, now) if r is not None], max(_SMALLEST, width - len(left + right))
    )
    cells = scale.ground()
    if before is not None:
        _paint(cells, scale, before, "o")
    _paint(cells, scale, now, "#")
    return f"{left}{''.join(cells)}{right}".rstrip()


class _Scale:
    """Values to cells. What is accepted always falls between the brackets, what is not always beyond them."""

    def __init__(self, limit: Limit, readings: list[Reading], cells: int) -> None:
        self.limit, self.cells = limit, cells
        self.low, self.high = self._ends(limit, readings)
        self.open = None if limit.low is None else self._raw(limit.low)
        self.close = None if limit.high is None else max(self._raw(limit.high), (self.open or 0) + 2)

    @staticmethod
    def _ends(limit: Limit, readings: list[Reading]) -> tuple[float, float]:
        shown = [end for r in readings for end in (r.lowest, r.highest)]
        if limit.low is not None and limit.high is not None:
            room = (limit.high - limit.low) * _OUTSIDE or 1.0
            return limit.low - room, limit.high + room
        known = limit.low if limit.low is not None else (limit.high or 0.0)
        # at least as far as from zero to the limit, so that a reading near it looks near
        reach = max([abs(known), *(abs(value - known) * (1 + _OUTSIDE) for value in shown)]) or 1.0
        return known - reach, known + reach

    def _raw(self, value: float) -> int:
        part = (value - self.low) / (self.high - self.low)
        return min(self.cells - 1, max(0, int(part * self.cells)))

    def cell(self, value: float) -> int:
        at = self._raw(value)
        low, high = self.limit.low, self.limit.high
        if self.open is not None and low is not None:
            at = min(at, self.open - 1) if self._under(value, low) else max(at, self.open + 1)
        if self.close is not None and high is not None:
            at = max(at, self.close + 1) if self._under(high, value) else min(at, self.close - 1)
        return at

    def _under(self, a: float, b: float) -> bool:
        return a < b if self.limit.inclusive else a <= b

    def ground(self) -> list[str]:
        first = 0 if self.open is None else self.open + 1
        last = self.cells if self.close is None else self.close
        cells = ["·" if first <= at < last else " " for at in range(self.cells)]
        if self.open is not None:
            cells[self.open] = "["
        if self.close is not None:
            cells[self.close] = "]"
        return cells


def _paint(cells: list[str], scale: _Scale, reading: Reading, mark: str) -> None:
    for at in range(scale.cell(reading.lowest), scale.cell(reading.highest) + 1):
        if cells[at] not in "[]":
            cells[at] = "@" if cells[at] == "o" and mark == "#" else mark
    if reading.lowest < scale.low:
        cells[0] = "<"
    if reading.highest > scale.high:
        cells[-1] = ">"


def strip_of(seen: ReadingSeen, width: int = 72) -> str:
    """The strip of a reading on the plan; '' when it has no limit to be drawn against."""
    if seen.limit_low is None and seen.limit_high is None:
        return ""
    limit = Limit(seen.limit_low, seen.limit_high, seen.unit, seen.limit_from or "the case")
    earlier = None
    if seen.earlier_low is not None and seen.earlier_high is not None:
        earlier = Reading(seen.earlier_low, seen.earlier_high, None, seen.unit)
    return strip(limit, earlier, Reading(seen.low, seen.high, seen.count or None, seen.unit), width)
