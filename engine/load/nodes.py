"""The careful reader of YAML: whatever is out of the ordinary is read here, or refused with its place."""

from __future__ import annotations

import re
from typing import Any

import yaml

from ..diagnostics.message import ENOUGH, Messages
from ..model.span import Span

MAX_DEPTH = 40
MAX_NODES = 200_000
LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INT = re.compile(r"[-+]?(0|[1-9][0-9]{0,15})\Z")
_FLOAT = re.compile(r"[-+]?([0-9]{1,16}\.[0-9]{1,16}|[0-9]{1,16}(\.[0-9]+)?[eE][-+]?[0-9]{1,3})\Z")
_WORDS = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}

Path_ = tuple[str | int, ...]
Places = dict[Path_, Span]


class _StopError(Exception):
    """Reading cannot go on; the message is already written."""


def plain_value(text: str) -> Any:
    """What a scalar without quotes says: nothing, true or false, a number, else its own words."""
    if text in _WORDS:
        return _WORDS[text]
    if text[0] not in "+-0123456789":
        return text
    if _INT.match(text):
        return int(text)
    return float(text) if _FLOAT.match(text) else text


def read(text: str, name: str, messages: Messages) -> tuple[Any, Places, Places] | None:
    """The plain value of YAML text, with the places of values and keys. On any problem, add messages: None."""
    try:
        node = yaml.compose(text, Loader=LOADER)
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
    return (value, reader.values, reader.keys) if len(messages.items) == reader.before else None


def too_many(span: Span, messages: Messages) -> None:
    """The message for a file of more values than any case or pack has."""
    text = f"more than {MAX_NODES:,} values: this is a file of another kind"
    messages.add("KN107", text, span, next_step="check that it is the file you meant")


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
            too_many(span, self.messages)
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
        return node.value if getattr(node, "style", None) else plain_value(node.value)

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


_CORE_TAGS = {
    f"tag:yaml.org,2002:{name}"
    for name in ("str", "int", "float", "bool", "null", "timestamp", "merge", "value", "map", "seq")
}
