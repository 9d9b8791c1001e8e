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


def certain(value: Any, schema: Mapping[str, Any]) -> bool:
    """Whether a value surely keeps to a schema."""
    return all(word in SILENT or (word in _KEEPS and _KEEPS[word](value, schema)) for word in schema)


def _typed(value: Any, schema: Mapping[str, Any]) -> bool:
    wanted = schema["type"]
    return _TYPES.get(type(value), "") in (wanted if isinstance(wanted, list) else (wanted,)) or (
        type(value) is int and "number" in wanted
    )


def _properties(value: Any, schema: Mapping[str, Any]) -> bool:
    return not isinstance(value, dict) or all(
        certain(value[name], inner) for name, inner in schema["properties"].items() if name in value
    )


def _additional(value: Any, schema: Mapping[str, Any]) -> bool:
    if not isinstance(value, dict):
        return True
    named, inner = schema.get("properties", {}), schema["additionalProperties"]
    extra = [key for key in value if key not in named]
    if not all(isinstance(key, str) for key in value):
        return False
    return not extra if inner is False else inner is True or all(certain(value[key], inner) for key in extra)


def _dated(value: Any, schema: Mapping[str, Any]) -> bool:
    if schema["format"] != "date" or not isinstance(value, str):
        return False
    try:
        return len(value) == 10 and date.fromisoformat(value).isoformat() == value
    except ValueError:
        return False


_TYPES = {dict: "object", list: "array", str: "string", int: "integer", float: "number", bool: "boolean"}
_KEEPS: Mapping[str, Callable[[Any, Mapping[str, Any]], bool]] = {
    "type": _typed,
    "properties": _properties,
    "additionalProperties": _additional,
    "format": _dated,
    "required": lambda v, s: not isinstance(v, dict) or all(name in v for name in s["required"]),
    "items": lambda v, s: not isinstance(v, list) or all(certain(item, s["items"]) for item in v),
    "enum": lambda v, s: isinstance(v, str) and v in s["enum"],
    "pattern": lambda v, s: not isinstance(v, str) or re.search(s["pattern"], v) is not None,
    "minLength": lambda v, s: not isinstance(v, str) or len(v) >= s["minLength"],
    "maxLength": lambda v, s: not isinstance(v, str) or len(v) <= s["maxLength"],
    "minItems": lambda v, s: not isinstance(v, list) or len(v) >= s["minItems"],
    "minProperties": lambda v, s: not isinstance(v, dict) or len(v) >= s["minProperties"],
    "minimum": lambda v, s: type(v) in (int, float) and v >= s["minimum"],
}
