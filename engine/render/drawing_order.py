"""The order of work as a graph: a box for each line, by phase from top to bottom, what comes first above."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ..model.plan import Line
from .sheet import DONE, Sheet
from .words import PHASE, clean, several, spoken

WIDTH, PER_ROW, BOX_W, BOX_H, ROW, HEAD = 372, 6, 46, 24, 46, 26
GATE = 6  # a line that directly waits for more than this is drawn under a bar, not under a bundle of curves
_STEP = (WIDTH - 12) / PER_ROW
Spots = dict[str, tuple[float, float]]
Firsts = dict[str, tuple[str, ...]]


def drawing_order(sheet: Sheet, id_: str = "graph") -> str:
    """The graph as SVG; empty for an empty plan. Numbers are those of the lines."""
    if not sheet.planned:
        return ""
    direct = reduced(sheet.planned)
    at, heads, height = _positions(sheet, direct)
    progress = {line.id: line.progress for line in sheet.planned}
    parts = [f'<path class="band" d="M0 {y - 14}H{WIDTH}"/>' for _, y in heads]
    for line, firsts in direct.items():
        if len(firsts) > GATE:
            x, y = at[line]
            parts.append(
                f'<path class="gate" d="M8 {y - 5:g}H{WIDTH - 8}M{x + BOX_W / 2:g} {y - 5:g}V{y:g}"/>'
            )
            continue
        for first in firsts:
            kind = "walked" if progress[first] in DONE else "edge"
            parts.append(f'<path class="{kind}" d="{_curve(at[first], at[line])}"/>')
    parts += [f'<text class="head" x="4" y="{y}">{words}</text>' for words, y in heads]
    parts += [_box(line, sheet.numbers[line.id], *at[line.id]) for line in sheet.planned]
    desc = escape(clean(order_words(sheet), 4000))
    return (
        f'<svg class="order" viewBox="0 0 {WIDTH} {height}" role="img" aria-labelledby="{id_}t {id_}d">'
        f'<title id="{id_}t">Order of work</title><desc id="{id_}d">{desc}</desc>{"".join(parts)}</svg>'
    )


def order_words(sheet: Sheet) -> str:
    """The graph in words: phases with their numbers, and how many lines wait for others."""
    runs = []
    for phase, _, lines in sheet.phases():
        numbers = [sheet.numbers[line.id] for line in lines]
        span = f"{numbers[0]} to {numbers[-1]}" if len(numbers) > 1 else str(numbers[0])
        runs.append(f"{spoken(phase, PHASE)} {span}")
    waiting = sum(bool(line.after) for line in sheet.planned)
    return (
        f"Lines by phase: {', '.join(runs)}. {several(waiting, 'line')} must wait for others and name them."
    )


def reduced(lines: Sequence[Line]) -> Firsts:
    """What must come directly before each line; what another predecessor already waits for is left out."""
    above: dict[str, set[str]] = {}
    direct: Firsts = {}
    for line in lines:
        here = [first for first in line.after if first in above]
        beyond = set[str]().union(*(above[first] for first in here))
        direct[line.id] = tuple(first for first in here if first not in beyond)
        above[line.id] = beyond.union(here)
    return direct


def _positions(sheet: Sheet, direct: Firsts) -> tuple[Spots, list[tuple[str, int]], int]:
    """Top left corner of every box, the phase headings, and the height of the whole."""
    at: Spots = {}
    heads: list[tuple[str, int]] = []
    y = 4
    for phase, again, lines in sheet.phases():
        heads.append((escape(clean(spoken(phase, PHASE) + (" (again)" if again else ""), 44)), y + 14))
        y += HEAD
        for row in _rows(lines, direct):
            row.sort(key=lambda line: _middle(direct[line.id], at))
            indent = (PER_ROW - len(row)) * _STEP / 2
            for column, line in enumerate(row):
                at[line.id] = (round(8 + indent + column * _STEP, 1), y)
            y += ROW
        y += 4
    return at, heads, y


def _rows(lines: Sequence[Line], direct: Firsts) -> list[list[Line]]:
    """Lines of one phase in rows, so that what comes first stands higher."""
    level: dict[str, int] = {}
    for line in lines:
        level[line.id] = 1 + max((level.get(first, 0) for first in direct[line.id]), default=0)
    rows = []
    for height in sorted(set(level.values())):
        same = [line for line in lines if level[line.id] == height]
        rows += [same[i : i + PER_ROW] for i in range(0, len(same), PER_ROW)]
    return rows


def _middle(firsts: Sequence[str], at: Spots) -> float:
    return (
        sum(at[f][0] for f in firsts) / len(firsts) if firsts and all(f in at for f in firsts) else WIDTH / 2
    )


def _curve(a: tuple[float, float], b: tuple[float, float]) -> str:
    x1, y1, x2, y2 = a[0] + BOX_W / 2, a[1] + BOX_H, b[0] + BOX_W / 2, b[1]
    bend = min(40.0, max(10.0, (y2 - y1) / 2))
    return f"M{x1:g} {y1:g}C{x1:g} {y1 + bend:g} {x2:g} {y2 - bend:g} {x2:g} {y2:g}"


def _box(line: Line, number: int, x: float, y: float) -> str:
    return (
        f'<g class="{escape(line.progress)} {escape(line.standing)}">'
        f'<rect x="{x:g}" y="{y:g}" width="{BOX_W}" height="{BOX_H}" rx="4"/>'
        f'<text x="{x + 6:g}" y="{y + 16:g}">{number}</text>'
        f'<use href="#p-{escape(line.progress)}" x="{x + BOX_W - 18:g}" y="{y + 5:g}" '
        'width="14" height="14"/></g>'
    )
