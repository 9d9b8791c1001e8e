"""JSON Schema checks with the place of every finding, in words a person can act on."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from typing import Any

from ..diagnostics.message import Culprit, Messages
from ..diagnostics.nearest import nearest
from .tree import Tree


@cache
def schema(name: str) -> dict[str, Any]:
    """A schema of the package by its short name: case, pack, plan, ..."""
    text = resources.files("knockon.schemas").joinpath(f"{name}.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


@cache
def _validator(name: str) -> Any:
    from jsonschema import Draft202012Validator

    return Draft202012Validator(schema(name))


def validate(tree: Tree, name: str, messages: Messages) -> bool:
    """Check a tree against a schema; every finding becomes a message. True when there is none."""
    before = len(messages.errors)
    for error in sorted(_validator(name).iter_errors(tree.value), key=lambda e: [str(p) for p in e.absolute_path]):
        _report(error, tree, messages)
    return len(messages.errors) == before


def _report(error: Any, tree: Tree, messages: Messages) -> None:
    path = tuple(error.absolute_path)
    where = ".".join(str(p) for p in path) or "the file"
    span = tree.at(*path)
    if error.validator in ("oneOf", "anyOf") and error.context:
        _report(_best(error), tree, messages)
    elif error.validator in ("additionalProperties", "unevaluatedProperties"):
        known = list(error.schema.get("properties", {}))
        for key in [k for k in error.instance if k not in known]:
            hint = nearest(key, known)
            step = "remove it" if not known else f"known here: {', '.join(known)}"
            text = f"`{key}` is not known in {where}"
            messages.add("KN110", text, tree.key(*path, key), nearest=hint, next_step=step)
    elif error.validator == "required":
        missing = [k for k in error.validator_value if k not in error.instance]
        for key in missing:
            messages.add("KN111", f"{where} has no `{key}`", span, next_step=f"add `{key}:`")
    elif error.validator == "enum":
        words = [str(v) for v in error.validator_value]
        hint = nearest(str(error.instance), words)
        text = f"`{_short(error.instance)}` is not one of: {', '.join(words)}"
        messages.add("KN112", text, span, nearest=hint, next_step="use one of the listed words")
    elif error.validator == "type":
        text = f"{where} must be {_kind(error.validator_value)}, not {_kind_of(error.instance)}"
        messages.add("KN113", text, span, next_step="write it in that form")
    else:
        text = f"{where}: {_short(error.message)}"
        messages.add("KN114", text, Culprit(span), next_step=error.schema.get("description", "see the schema"))


def _best(error: Any) -> Any:
    from jsonschema.exceptions import best_match

    return best_match(error.context)


def _short(value: Any) -> str:
    text = str(value)
    return text if len(text) <= 120 else text[:117] + "..."


_KINDS = {
    "object": "a mapping (`key: value` lines)",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "empty",
}


def _kind(names: str | list[str]) -> str:
    return " or ".join(_KINDS[n] for n in ([names] if isinstance(names, str) else names))


def _kind_of(value: Any) -> str:
    for kind, name in ((dict, "object"), (list, "array"), (bool, "boolean"), (str, "string"), (int, "integer")):
        if isinstance(value, kind):
            return _KINDS[name]
    return "empty" if value is None else "a number"
