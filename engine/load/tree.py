"""The one YAML reader: plain values with the place of every key and value.

Safe by construction: scalars, lists and mappings with text keys; no tags, no aliases, bounded size and depth.
Scalars follow the YAML 1.2 core habit, so `yes`, `no`, `on` and `off` stay words.
"""

from __future__ import annotations

import bisect
import os
import re
from collections import defaultdict
from collections.abc import Iterable
from itertools import accumulate
from pathlib import Path
from typing import Any

from ..diagnostics.message import Messages
from ..model.record import dataclass, field
from ..model.span import Span
from . import events, nodes
from .nodes import MAX_NODES, Path_, too_many

MAX_BYTES = 4_000_000
MAX_BRACKETS = 200
_DEEP = (" " * 401, "- - - - - - - - - - - ")
_BRACKET, _STEPS = re.compile(r"[][{}]"), {"[": 1, "{": 1, "]": -1, "}": -1}


@dataclass(slots=True)
class Tree:
    """A parsed file: its plain value, and where each value and key of it stands."""

    file: str
    value: Any
    values: dict[Path_, Span] = field(default_factory=dict)
    keys: dict[Path_, Span] = field(default_factory=dict)

    def at(self, *path: str | int) -> Span:
        """The place of the value at a path; of its nearest known ancestor when the path leads nowhere."""
        while (found := self.values.get(path)) is None and path:
            path = path[:-1]
        return found or Span(self.file, 1, 1)

    def key(self, *path: str | int) -> Span:
        """The place of the key that leads to a path."""
        return self.keys.get(path) or self.at(*path)

    def without(self, broken: Iterable[Path_]) -> Tree:
        """The tree without the values at these paths; the places of the rest stay right."""
        import copy

        gone = set(broken)
        value = copy.deepcopy(self.value)
        items: dict[Path_, list[int]] = defaultdict(list)
        for *way, last in sorted(gone, key=lambda p: (len(p), str(p)), reverse=True):
            inner = value
            for step in way:
                inner = inner[step]
            inner[last] = _GONE
            if isinstance(last, int):
                bisect.insort(items[tuple(way)], last)
        places = [
            {moved: span for path, span in old.items() if (moved := _moved(path, gone, items)) is not None}
            for old in (self.values, self.keys)
        ]
        return Tree(self.file, _kept(value), *places)


_GONE: Any = object()


def _kept(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _kept(v) for k, v in value.items() if v is not _GONE}
    return [_kept(v) for v in value if v is not _GONE] if isinstance(value, list) else value


def _moved(path: Path_, gone: set[Path_], items: dict[Path_, list[int]]) -> Path_ | None:
    """Where a value stands once others are gone: items of a list move up; None for what is gone itself."""
    moved = []
    for i, step in enumerate(path):
        if path[: i + 1] in gone:
            return None
        earlier = items.get(path[:i], []) if isinstance(step, int) else []
        moved.append(step - bisect.bisect(earlier, step) if isinstance(step, int) else step)
    return tuple(moved)


def lies_in(path: Path, folder: Path) -> bool:
    """True when a file is really below a folder, after every link was followed."""
    inside = os.path.realpath(folder)
    return os.path.commonpath((inside, os.path.realpath(path))) == inside


def read_tree(path: Path, messages: Messages, name: str = "") -> Tree | None:
    """Read one YAML file. On any problem, add messages and return None."""
    name = name or str(path)
    text = _read_text(path, name, messages)
    return None if text is None else parse_tree(text, name, messages)


def _read_text(path: Path, name: str, messages: Messages) -> str | None:
    here = Span(name, 1, 1)
    try:
        size = path.stat().st_size
        if path.is_dir():
            messages.add("KN101", f"`{name}` is a folder, not a file", here, next_step="name a file in it")
            return None
        if not path.is_file():
            messages.add("KN101", f"`{name}` is not a regular file", here, next_step="name a YAML file")
            return None
        if size > MAX_BYTES:
            text = f"`{name}` is too large ({size:,} bytes; at most {MAX_BYTES:,})"
            messages.add("KN102", text, here, next_step="check that this is the file you meant")
            return None
        data = path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a name no file can have
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        messages.add(
            "KN101", f"cannot read `{name}`: {reason}", here, next_step="check the name and its rights"
        )
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        text = f"`{name}` is not UTF-8 text (byte {error.start:,})"
        messages.add("KN103", text, Span(name, line, 1), next_step="save the file as UTF-8 text")
        return None
    return text


def parse_tree(text: str, name: str, messages: Messages) -> Tree | None:
    """Parse YAML text. On any problem, add messages and return None."""
    messages.lines[name] = text.splitlines()
    if text.count(",") + text.count("\n") > MAX_NODES:  # told before they cost memory
        too_many(Span(name, 1, 1), messages)
        return None
    deepest = _too_deep(text, name)
    if deepest:
        messages.add("KN107", "nested too deeply", deepest, next_step="flatten the file")
        return None
    found = events.read(text, name) or nodes.read(text, name, messages)
    return None if found is None else Tree(name, *found)


def _too_deep(text: str, name: str) -> Span | None:
    """Where brackets, indents or dashes nest deeper than in any honest file; parsers recurse there."""
    if not any(sign in text for sign in _DEEP):
        depths = accumulate(map(_STEPS.__getitem__, _BRACKET.findall(text)))
        if max(depths, default=0) <= MAX_BRACKETS:
            return None
    depth = 0
    for number, line in enumerate(text.splitlines(), 1):
        opened = line.count("[") + line.count("{")
        if line.startswith(_DEEP[0]) or line.count(_DEEP[1]) > 2:
            return Span(name, number, 1)
        if depth + opened > MAX_BRACKETS:
            for column, character in enumerate(line, 1):
                depth += (character in "[{") - (character in "]}")
                if depth > MAX_BRACKETS:
                    return Span(name, number, column)
        else:
            depth += opened - line.count("]") - line.count("}")
    return None
