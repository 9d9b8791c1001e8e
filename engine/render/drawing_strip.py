"""One reading as a picture: limits, earlier range, present range, uncertainty; readable without colour."""

from __future__ import annotations

from html import escape

from ..measure.figures import say
from ..model.plan import ReadingSeen
from .phrases import reading_words
from .words import clean

WIDTH, HEIGHT, EDGE = 360, 62, 14
_OUTSIDE = 0.25  # room shown beyond a limit, as a share of the width between the limits


def drawing_strip(reading: ReadingSeen, id_: str) -> str:
    """The strip as SVG; empty without a limit, because then there is nothing to compare with."""
    if reading.limit_low is None and reading.limit_high is None:
        return ""
    low, high = _ends(reading)

    def x(value: float) -> float:
        share = (value - low) / (high - low)
        return round(EDGE + min(1.0, max(0.0, share)) * (WIDTH - 2 * EDGE), 1)

    left = EDGE if reading.limit_low is None else x(reading.limit_low)
    right = WIDTH - EDGE if reading.limit_high is None else x(reading.limit_high)
    parts = [f'<rect class="accepted" x="{left}" y="12" width="{round(right - left, 1)}" height="30"/>']
    parts.append(f'<path class="axis" d="M{EDGE} 42H{WIDTH - EDGE}"/>')
    for limit, foot, anchor in ((reading.limit_low, 6, "start"), (reading.limit_high, -6, "end")):
        if limit is not None:
            at = x(limit)
            parts.append(f'<path class="limit" d="M{at + foot} 10H{at}V44H{at + foot}"/>')
            words = escape(clean(f"{say(limit)} {reading.unit}".rstrip(), 24))
            parts.append(f'<text x="{at}" y="58" text-anchor="{anchor}">{words}</text>')
    if reading.earlier_low is not None and reading.earlier_high is not None:
        parts.append(_bar("earlier", x(reading.earlier_low), x(reading.earlier_high), 15, 9))
    parts.append(_bar("present", x(reading.low), x(reading.high), 28, 9))
    if reading.uncertainty:
        a, b = x(reading.low - reading.uncertainty), x(reading.high + reading.uncertainty)
        parts.append(f'<path class="whisker" d="M{a} 27V38M{a} 32.5H{b}M{b} 27V38"/>')
    parts += [
        f'<path class="beyond" d="{shape}"/>'
        for beyond, shape in (
            (reading.low < low, f"M{EDGE - 2} 26L{EDGE - 11} 32.5L{EDGE - 2} 39Z"),
            (reading.high > high, f"M{WIDTH - EDGE + 2} 26L{WIDTH - EDGE + 11} 32.5L{WIDTH - EDGE + 2} 39Z"),
        )
        if beyond
    ]
    title, desc = escape(clean(reading.name, 80)), escape(clean(reading_words(reading)))
    return (
        f'<svg class="strip" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{id_}t {id_}d">'
        f'<title id="{id_}t">{title}</title><desc id="{id_}d">{desc}</desc>{"".join(parts)}</svg>'
    )


def _bar(kind: str, a: float, b: float, y: int, height: int) -> str:
    width = round(max(4.0, b - a), 1)
    left = a if b - a >= 4 else round(a - 2, 1)
    return f'<rect class="{kind}" x="{left}" y="{y}" width="{width}" height="{height}"/>'


def _ends(reading: ReadingSeen) -> tuple[float, float]:
    """What the strip shows from left to right: the limits with room beyond, or one limit in the middle."""
    low, high = reading.limit_low, reading.limit_high
    if low is not None and high is not None:
        room = (high - low) * _OUTSIDE or 1.0
        return low - room, high + room
    known = low if low is not None else (high or 0.0)
    shown = [reading.low, reading.high, reading.earlier_low, reading.earlier_high]
    reach = max([abs(known), *(abs(v - known) * (1 + _OUTSIDE) for v in shown if v is not None)]) or 1.0
    return known - reach, known + reach
