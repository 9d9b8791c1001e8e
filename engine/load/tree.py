"""The one YAML reader: plain values with the place of every key and value.

Safe by construction: only scalars, lists and mappings with text keys; no tags, no anchors, bounded size and depth.
Scalars follow the YAML 1.2 core habit, so `yes`, `no`, `on` and `off` stay words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from ..diagnostics.message import Messages
from ..model.span import Span

MAX_BYTES = 4_000_000
MAX_DEPTH = 40
MAX_NODES = 400_000
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


class _Stop(Exception):
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
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        messages.add("KN101", f"cannot read `{name}`: {reason}", here, next_step="check the name and its rights")
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
    deepest = _too_deep(text)
    if deepest:
        messages.add("KN107", "nested too deeply", Span(name, deepest, 1), next_step="flatten the file")
        return None
    try:
        node = yaml.compose(text, Loader=_LOADER)
    except yaml.MarkedYAMLError as error:
        _syntax(error, name, messages)
        return None
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        text = f"not readable as YAML: {str(error).splitlines()[0]}"
        messages.add("KN104", text, Span(name, 1, 1), next_step="check that this is a YAML file")
        return None
    if node is None:
        messages.add("KN105", f"`{name}` is empty", Span(name, 1, 1), next_step="see examples/ for a file to start from")
        return None
    reader = _Reader(name, messages)
    before = len(messages.items)
    try:
        value = reader.build(node, (), 0)
    except _Stop:
        return None
    return Tree(name, value, reader.values, reader.keys) if len(messages.items) == before else None


def _too_deep(text: str) -> int:
    """The line where flow brackets nest deeper than any honest file; parsers recurse there. 0 when none does."""
    depth = 0
    for number, line in enumerate(text.splitlines(), 1):
        depth += line.count("[") + line.count("{") - line.count("]") - line.count("}")
        if depth > 200 or len(line) - len(line.lstrip(" ")) > 400 or line.count("- - - - - - - - - - - ") > 2:
            return number
    return 0


def _syntax(error: yaml.MarkedYAMLError, name: str, messages: Messages) -> None:
    mark = error.problem_mark or error.context_mark
    span = Span(name, mark.line + 1, mark.column + 1) if mark else Span(name, 1, 1)
    text = f"not valid YAML: {error.problem or error.context or 'syntax'}"
    messages.add("KN104", text, span, next_step="check indentation, colons and quotes near this place")


class _Reader:
    """Turns a node graph into plain values and places."""

    def __init__(self, name: str, messages: Messages) -> None:
        self.name, self.messages, self.count = name, messages, 0
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
            raise _Stop
        if self.count > MAX_NODES:
            text = f"more than {MAX_NODES:,} values: aliases that multiply, or a file of another kind"
            self.messages.add("KN107", text, span, next_step="write values out, without aliases")
            raise _Stop
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, path, depth)
        if isinstance(node, yaml.SequenceNode):
            return [self.build(child, (*path, i), depth + 1) for i, child in enumerate(node.value)]
        return self._scalar(node, span)

    def _mapping(self, node: yaml.MappingNode, path: Path_, depth: int) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            span = self._span(key_node)
            if not isinstance(key_node, yaml.ScalarNode):
                self.messages.add("KN104", "a key must be plain text", span, next_step="write the key as one word")
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

    def _scalar(self, node: yaml.Node, span: Span) -> Any:
        text = node.value
        if node.tag not in _CORE_TAGS:
            self.messages.add("KN104", f"tag `{node.tag}` is not used here", span, next_step="remove the tag")
            return text
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
    f"tag:yaml.org,2002:{name}" for name in ("str", "int", "float", "bool", "null", "timestamp", "merge", "value")
}
