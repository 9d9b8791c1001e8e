"""The one YAML reader: plain values with the place of every key and value.

Safe by construction: scalars, lists and mappings with text keys; no tags, no aliases, bounded size and depth.
Scalars follow the YAML 1.2 core habit, so `yes`, `no`, `on` and `off` stay words.
"""

from __future__ import annotations

import bisect
import copy
import os
import re
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import yaml

from ..diagnostics.message import ENOUGH, Messages
from ..model.record import dataclass, field
from ..model.span import Span

MAX_BYTES = 4_000_000
MAX_DEPTH = 40
MAX_BRACKETS = 200
MAX_NODES = 200_000
_INT = re.compile(r"[-+]?(0|[1-9][0-9]{0,15})\Z")
_FLOAT = re.compile(r"[-+]?([0-9]{1,16}\.[0-9]{1,16}|[0-9]{1,16}(\.[0-9]+)?[eE][-+]?[0-9]{1,3})\Z")
_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

Path_ = tuple[str | int, ...]


@dataclass(slots=True)
class Tree:
    """A parsed file: its plain value, and where each value and key of it stands."""

    file: str
    value: Any
    values: dict[Path_, Span] = field(default_factory=dict)
    keys: dict[Path_, Span] = field(default_factory=dict)

    def at(self, *path: str | int) -> Span:
        """The place of the value at a path; of its nearest known ancestor when the path leads nowhere."""
        while path and path not in self.values:
            path = path[:-1]
        return self.values.get(path, Span(self.file, 1, 1))

    def key(self, *path: str | int) -> Span:
        """The place of the key that leads to a path."""
        return self.keys.get(path) or self.at(*path)

    def without(self, broken: Iterable[Path_]) -> Tree:
        """The tree without the values at these paths; the places of the rest stay right."""
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


class _StopError(Exception):
    """Reading cannot go on; the message is already written."""


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
        _too_many(Span(name, 1, 1), messages)
        return None
    deepest = _too_deep(text, name)
    if deepest:
        messages.add("KN107", "nested too deeply", deepest, next_step="flatten the file")
        return None
    try:
        node = yaml.compose(text, Loader=_LOADER)
    except yaml.MarkedYAMLError as error:
        _syntax(error, name, messages)
        return None
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        said = f"not readable as YAML: {str(error).splitlines()[0]}"
        messages.add("KN104", said, _bad_character(text, name), next_step="check that this is a YAML file")
        return None
    if node is None:
        messages.add(
            "KN105",
            f"`{name}` is empty",
            Span(name, 1, 1),
            next_step="see examples/ for a file to start from",
        )
        return None
    reader = _Reader(name, messages)
    try:
        value = reader.build(node, (), 0)
    except _StopError:
        return None
    return Tree(name, value, reader.values, reader.keys) if len(messages.items) == reader.before else None


def _too_many(span: Span, messages: Messages) -> None:
    text = f"more than {MAX_NODES:,} values: this is a file of another kind"
    messages.add("KN107", text, span, next_step="check that it is the file you meant")


def _too_deep(text: str, name: str) -> Span | None:
    """Where brackets, indents or dashes nest deeper than in any honest file; parsers recurse there."""
    depth = 0
    for number, line in enumerate(text.splitlines(), 1):
        opened = line.count("[") + line.count("{")
        if len(line) - len(line.lstrip(" ")) > 400 or line.count("- - - - - - - - - - - ") > 2:
            return Span(name, number, 1)
        if depth + opened > MAX_BRACKETS:
            for column, character in enumerate(line, 1):
                depth += (character in "[{") - (character in "]}")
                if depth > MAX_BRACKETS:
                    return Span(name, number, column)
        else:
            depth += opened - line.count("]") - line.count("}")
    return None


def _bad_character(text: str, name: str) -> Span:
    """The first character that no YAML text may hold, else the start of the file."""
    found = yaml.reader.Reader.NON_PRINTABLE.search(text)
    if found is None:
        return Span(name, 1, 1)
    before = text[: found.start()].splitlines() or [""]
    return Span(name, len(before), len(before[-1]) + 1)


def _syntax(error: yaml.MarkedYAMLError, name: str, messages: Messages) -> None:
    mark = error.problem_mark or error.context_mark
    span = Span(name, mark.line + 1, mark.column + 1) if mark else Span(name, 1, 1)
    text, step = (
        f"not valid YAML: {error.problem or error.context or 'syntax'}",
        "check indentation, colons and quotes",
    )
    lines = messages.lines[name]
    if span.line <= len(lines) and lines[span.line - 1][span.column - 1 : span.column] == "\t":
        text, step = "not valid YAML: a tab stands where YAML wants spaces", "indent with spaces"
    messages.add("KN104", text, span, next_step=f"{step} near this place")


class _Reader:
    """Turns a node graph into plain values and places."""

    def __init__(self, name: str, messages: Messages) -> None:
        self.name, self.messages, self.count, self.before = name, messages, 0, len(messages.items)
        self.seen: set[int] = set()
        self.values: dict[Path_, Span] = {}
        self.keys: dict[Path_, Span] = {}

    def _span(self, node: yaml.Node) -> Span:
        start, end = node.start_mark, node.end_mark
        length = end.column - start.column if end.line == start.line else 1
        return Span(self.name, start.line + 1, start.column + 1, max(1, length))

    def build(self, node: yaml.Node, path: Path_, depth: int) -> Any:
        span = self._span(node)
        self.count += 1
        self.values.setdefault(path, span)
        if depth > MAX_DEPTH:
            self.messages.add("KN107", "nested too deeply", span, next_step="flatten the file")
            raise _StopError
        if self.count > MAX_NODES:
            _too_many(span, self.messages)
            raise _StopError
        if len(self.messages.items) - self.before > ENOUGH:
            raise _StopError
        if id(node) in self.seen:
            text = "an alias repeats this value; aliases can multiply without end and are not used here"
            self.messages.add("KN107", text, span, next_step="write the value out where the alias stands")
            raise _StopError
        self.seen.add(id(node))
        if node.tag not in _CORE_TAGS:
            self.messages.add("KN104", f"tag `{node.tag}` is not used here", span, next_step="remove the tag")
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, path, depth)
        if isinstance(node, yaml.SequenceNode):
            return [self.build(child, (*path, i), depth + 1) for i, child in enumerate(node.value)]
        return self._scalar(node)

    def _mapping(self, node: yaml.MappingNode, path: Path_, depth: int) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            span = self._span(key_node)
            if not isinstance(key_node, yaml.ScalarNode):
                self.messages.add(
                    "KN104", "a key must be plain text", span, next_step="write the key as one word"
                )
                continue
            key = key_node.value
            if key in result:
                first = self.keys[(*path, key)]
                self.messages.add(
                    "KN106", f"`{key}` is written twice", span, first, next_step="keep one of the two"
                )
                continue
            self.keys[(*path, key)] = span
            result[key] = self.build(value_node, (*path, key), depth + 1)
        return result

    def _scalar(self, node: yaml.Node) -> Any:
        text = node.value
        if getattr(node, "style", None):
            return text
        if text in ("", "~", "null", "Null", "NULL"):
            return None
        if text in ("true", "True", "TRUE"):
            return True
        if text in ("false", "False", "FALSE"):
            return False
        if _INT.match(text):
            return int(text)
        return float(text) if _FLOAT.match(text) else text


_CORE_TAGS = {
    f"tag:yaml.org,2002:{name}"
    for name in ("str", "int", "float", "bool", "null", "timestamp", "merge", "value", "map", "seq")
}
