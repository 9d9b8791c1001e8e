"""A quick look at the form of a file: certain that it keeps to its schema, or not certain.

Most files are well formed, and loading the schema library costs more than planning a case. What is not certain here
is left to that library, which also says what is wrong; a keyword unknown here is never certain.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

SILENT = frozenset(("$schema", "$id", "version", "title", "description"))
_NONE: Mapping[str, Any] = {}


def certain(value: Any, schema: Mapping[str, Any]) -> bool:
    """Whether a value surely keeps to a schema."""
    for word, asked in schema.items():
        keeps = _KEEPS.get(word)
        if not keeps(value, asked, schema) if keeps else word not in SILENT:
            return False
    return True


def _typed(value: Any, asked: Any, _: Mapping[str, Any]) -> bool:
    kinds = _TYPES.get(type(value), frozenset())
    return asked in kinds if isinstance(asked, str) else not kinds.isdisjoint(asked)


def _properties(value: Any, asked: Mapping[str, Any], _: Mapping[str, Any]) -> bool:
    if isinstance(value, dict):
        for name, inner in asked.items():
            if name in value and not certain(value[name], inner):
                return False
    return True


def _additional(value: Any, asked: Any, schema: Mapping[str, Any]) -> bool:
    if isinstance(value, dict):
        named = schema.get("properties", _NONE)
        for key, inner in value.items():
            if not isinstance(key, str):
                return False
            if key not in named and asked is not True and (asked is False or not certain(inner, asked)):
                return False
    return True


def _items(value: Any, asked: Any, _: Mapping[str, Any]) -> bool:
    if isinstance(value, list):
        for item in value:
            if not certain(item, asked):
                return False
    return True


def _dated(value: Any, asked: Any, _: Mapping[str, Any]) -> bool:
    if asked != "date" or not isinstance(value, str):
        return False
    try:
        return len(value) == 10 and date.fromisoformat(value).isoformat() == value
    except ValueError:
        return False


_TYPES: Mapping[type, frozenset[str]] = {
    **{dict: frozenset(("object",)), list: frozenset(("array",)), str: frozenset(("string",))},
    **{bool: frozenset(("boolean",)), int: frozenset(("integer", "number")), float: frozenset(("number",))},
}
_KEEPS: Mapping[str, Callable[[Any, Any, Mapping[str, Any]], bool]] = {
    "type": _typed,
    "properties": _properties,
    "additionalProperties": _additional,
    "format": _dated,
    "required": lambda v, asked, _: not isinstance(v, dict) or all(name in v for name in asked),
    "items": _items,
    "enum": lambda v, asked, _: isinstance(v, str) and v in asked,
    "pattern": lambda v, asked, _: not isinstance(v, str) or re.search(asked, v) is not None,
    "minLength": lambda v, asked, _: not isinstance(v, str) or len(v) >= asked,
    "maxLength": lambda v, asked, _: not isinstance(v, str) or len(v) <= asked,
    "minItems": lambda v, asked, _: not isinstance(v, list) or len(v) >= asked,
    "minProperties": lambda v, asked, _: not isinstance(v, dict) or len(v) >= asked,
    "minimum": lambda v, asked, _: type(v) in (int, float) and v >= asked,
}
