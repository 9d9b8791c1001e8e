"""The log as a time line, with an arc from each event back to the results it took away."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

from .words import clean, day, several

WIDTH, ROW, SPINE, SHOWN = 360, 30, 74, 60
MOST, MOST_SMALL = 36, 42  # letters that fit beside the spine, in a wide font too
_ARC = 13  # how far each further arc stands out from the spine


def drawing_log(log: Sequence[Mapping[str, str]], id_: str = "timeline") -> str:
    """The time line as SVG, its last SHOWN entries; empty without a log. A table has to stand beside it."""
    if not log:
        return ""
    first = max(0, len(log) - SHOWN)
    shown = log[first:]
    height = ROW * len(shown) + 12
    arcs = [arc for at, entry in enumerate(shown) for arc in _arcs(shown, at, entry)]
    parts = [f'<path class="spine" d="M{SPINE} 6V{height - 6}"/>']
    parts += [_arc(top, bottom, n % 4) for n, (top, bottom) in enumerate(arcs)]
    undone = {top for top, _ in arcs}
    parts += [_entry(entry, at, at in undone) for at, entry in enumerate(shown)]
    cut = f" Only the last {SHOWN} are drawn." if first else ""
    desc = f"{several(len(log), 'entry', 'entries')} in time order.{cut} {undone_words(log)}"
    return (
        f'<svg class="log" viewBox="0 0 {WIDTH} {height}" role="img" aria-labelledby="{id_}t {id_}d">'
        f'<title id="{id_}t">Time line of the log</title><desc id="{id_}d">{escape(clean(desc))}</desc>'
        f'<defs><marker id="{id_}m" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" markerHeight="7" '
        f'orient="auto"><path d="M0 0L8 4L0 8Z" fill="currentColor"/></marker></defs>'
        f"{''.join(parts).replace('#arrow', f'#{id_}m')}</svg>"
    )


def undone_words(log: Sequence[Mapping[str, str]]) -> str:
    """What took what away, in words."""
    voids = [f"{e['title']} ({day(e['at'])}) took away {e['undoes']}" for e in log if e.get("undoes")]
    return "; ".join(voids) + "." if voids else "Nothing was taken away."


def _arcs(log: Sequence[Mapping[str, str]], at: int, entry: Mapping[str, str]) -> list[tuple[int, int]]:
    """From each result an entry undid (its newest record before the entry) to the entry."""
    found = []
    for line in filter(None, entry.get("undoes", "").split(", ")):
        names = (line, line.partition(".")[0])  # an entry without a place stands for every place
        before = [i for i in range(at) if log[i]["kind"] == "done" and log[i]["what"] in names]
        if before and (before[-1], at) not in found:
            found.append((before[-1], at))
    return found


def _arc(top: int, bottom: int, lane: int) -> str:
    a, b, out = _y(top), _y(bottom), SPINE - 16 - _ARC * (lane + 1)
    way = f"M{SPINE - 8} {b}C{out} {b} {out} {a} {SPINE - 9} {a}"
    return f'<path class="voids" d="{way}" marker-end="url(#arrow)"/>'


def _entry(entry: Mapping[str, str], row: int, undone: bool) -> str:
    y, result = _y(row), entry.get("result", "")
    state = {"pass": "passed", "fail": "failed"}.get(result, "open")
    symbol = {"event": "event", "waived": "waived"}.get(entry["kind"], "void" if undone else state)
    plain = {"pass": "passed", "fail": "failed"}.get(result, result or "done")
    words = plain if entry["kind"] == "done" else entry["kind"]
    words += ", void since" if undone else ""
    title = escape(clean(entry["title"], MOST))
    small = escape(clean(f"{day(entry['at'])}  {words}", MOST_SMALL))
    return (
        f'<use href="#p-{symbol}" x="{SPINE - 8}" y="{y - 8}" width="16" height="16"/>'
        f'<text x="{SPINE + 14}" y="{y - 1}">{title}</text>'
        f'<text class="small" x="{SPINE + 14}" y="{y + 11}">{small}</text>'
    )


def _y(row: int) -> int:
    return 6 + ROW // 2 + ROW * row
