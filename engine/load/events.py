"""The quick reader of YAML: the usual file, straight from the parser's events.

Whatever is out of the ordinary - a tag, an anchor, a key twice, anything wrong - is left whole to the careful reader
in `nodes`, which also says what is wrong. What is read here is what that one would read.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import yaml
from yaml import MappingEndEvent, ScalarEvent, SequenceEndEvent, SequenceStartEvent

from ..model.span import Span
from .nodes import LOADER, MAX_DEPTH, MAX_NODES, Path_, Places, plain_value

_NEW = tuple.__new__  # a named tuple's own way there is a call more, and there are two places to every line


class _OddError(Exception):
    """Something out of the ordinary."""


def read(text: str, name: str) -> tuple[Any, Places, Places] | None:
    """The plain value of YAML text, with the places of values and keys; None where it is not quite usual."""
    values, keys = Places(), Places()
    try:
        following = LOADER(text).get_event
        following()
        if type(following()) is not yaml.DocumentStartEvent:
            return None
        value = _value(following(), (), following, name, values, keys)
        following()
        whole = type(following()) is yaml.StreamEndEvent and len(values) <= MAX_NODES
        return (value, values, keys) if whole else None
    except (_OddError, yaml.YAMLError, ValueError, RecursionError):
        return None


def _value(
    event: Any, path: Path_, following: Callable[[], Any], name: str, values: Places, keys: Places
) -> Any:
    """The value that begins with an event."""
    if event.anchor is not None or event.tag is not None:
        raise _OddError
    if type(event) is ScalarEvent:
        values[path] = _span(name, event.start_mark, event.end_mark)
        return event.value if event.style else plain_value(event.value)
    if len(path) >= MAX_DEPTH or len(values) > MAX_NODES:
        raise _OddError
    start = event.start_mark
    found: Any
    if type(event) is SequenceStartEvent:
        found = []
        while type(event := following()) is not SequenceEndEvent:
            found.append(_value(event, (*path, len(found)), following, name, values, keys))
    else:
        found = {}
        while type(event := following()) is not MappingEndEvent:
            key = event.value if type(event) is ScalarEvent else None
            if key is None or key in found or event.anchor is not None or event.tag is not None:
                raise _OddError
            way = (*path, key)
            keys[way] = _span(name, event.start_mark, event.end_mark)
            found[key] = _value(following(), way, following, name, values, keys)
    values[path] = _span(name, start, event.end_mark)
    return found


def _span(name: str, start: Any, end: Any) -> Span:
    line, column = start.line, start.column
    length = end.column - column if end.line == line else 1
    return _NEW(Span, (name, line + 1, column + 1, length if length > 0 else 1))
