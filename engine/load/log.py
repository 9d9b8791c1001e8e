"""The log of a case file: dated results, events and waivers, every name in them looked up."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Any

from ..diagnostics.message import Messages
from ..model.case import Entry
from ..model.places import PLACES
from ..model.program import Program
from ..model.span import Span
from .names import known
from .tree import Tree


def check_date(text: str, span: Span, messages: Messages) -> bool:
    """Whether a date (or a date and time) is one of the calendar; a message when it is not."""
    try:
        datetime.datetime.fromisoformat(text)
    except ValueError:
        step = "write it as YYYY-MM-DD" + ("THH:MM" if len(text) > 10 else "")
        messages.add("KN306", f"`{text}` is not a date", span, next_step=step)
        return False
    return True


def split_line_id(text: str) -> tuple[str, str]:
    """`radar_corner_cal.rear_left` -> operation and place."""
    operation, _, place = text.partition(".")
    return operation, place


def read_log(tree: Tree, program: Program, messages: Messages) -> tuple[Entry, ...]:
    """The entries in the order of the file; one that cannot be read becomes a message."""
    found = []
    for i, raw in enumerate(tree.value.get("log") or []):
        path, span = ("log", i), tree.at("log", i)
        check_date(str(raw["at"]), tree.at(*path, "at"), messages)
        what = [key for key in ("did", "event", "waived") if key in raw]
        if len(what) != 1:
            text = f"a log entry records exactly one thing; this one: {' and '.join(what) or 'nothing'}"
            step = "write it as an entry for each" if what else "add one of: did, event, waived"
            messages.add("KN312", text, span, next_step=step)
            continue
        key = what[0]
        operation, place = split_line_id(str(raw[key]))
        names, kind = (program.events, "event") if key == "event" else (program.operations, "operation")
        good = known(operation, names, kind, tree.at(*path, key), messages)
        if place:
            good &= known(place, PLACES[1:], "place", tree.at(*path, key), messages)
        if raw.get("part"):
            good &= known(raw["part"], program.parts, "part", tree.at(*path, "part"), messages)
        if raw.get("system"):
            good &= known(raw["system"], program.systems, "system", tree.at(*path, "system"), messages)
        lacking = [f"`{k}:`" for k in ("by", "why") if key == "waived" and not raw.get(k)]
        if lacking:
            text = f"waiving `{raw[key]}` needs who decided and why"
            messages.add("KN313", text, span, next_step=f"add {' and '.join(lacking)}")
        if good:
            found.append(_entry(raw, key, operation, place, span))
    return tuple(found)


def in_time_order(log: Iterable[Entry]) -> list[Entry]:
    """By date and time; on a day where one entry has no time, as they stand in the file."""
    days: dict[str, list[Entry]] = {}
    for entry in log:
        days.setdefault(entry.at[:10], []).append(entry)
    return [entry for day in sorted(days) for entry in _of_day(days[day])]


def _of_day(entries: list[Entry]) -> list[Entry]:
    timed = all(len(entry.at) > 10 for entry in entries)
    return sorted(entries, key=lambda e: e.at) if timed else entries


def _entry(raw: dict[str, Any], key: str, operation: str, place: str, span: Span) -> Entry:
    return Entry(
        at=str(raw["at"]).replace(" ", "T"),
        did=operation if key == "did" else "",
        event=operation if key == "event" else "",
        waived=operation if key == "waived" else "",
        place=place or raw.get("side", ""),
        result=raw.get("result", ""),
        part=raw.get("part", ""),
        system=raw.get("system", ""),
        by=raw.get("by", ""),
        why=raw.get("why", ""),
        note=raw.get("note", ""),
        readings=raw.get("readings", {}),
        span=span,
    )
