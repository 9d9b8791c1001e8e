"""JSON Schema checks with the place of every finding, in words a person can act on."""

from __future__ import annotations

import json
from functools import cache
from itertools import islice
from pathlib import Path
from typing import Any

from ..diagnostics.message import ENOUGH, Messages
from ..diagnostics.nearest import nearest
from .form import certain
from .nodes import Path_
from .tree import Tree

SCHEMAS = Path(__file__).parents[2] / "schemas"


@cache
def schema(name: str) -> dict[str, Any]:
    """A schema of the package by its short name: case, pack, plan, ..."""
    text = (SCHEMAS / f"{name}.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


@cache
def _validator(name: str) -> Any:
    from jsonschema import Draft202012Validator, FormatChecker

    return Draft202012Validator(schema(name), format_checker=FormatChecker(("date",)))


def validate(tree: Tree, name: str, messages: Messages) -> bool:
    """Check a tree against a schema; every finding becomes a message. True when there is none."""
    return not _errors(tree, name, messages)


def sound_part(tree: Tree, name: str, messages: Messages) -> tuple[Tree | None, set[str]]:
    """What of a tree keeps to its schema, so that the rest of its mistakes can be found in the same run.

    Also the ids of the entries left out, for which nobody must be told that they are unknown.
    """
    broken, ids = set[Path_](), set[str]()
    errors = _errors(tree, name, messages)
    if not errors or not isinstance(tree.value, dict) or len(errors) > ENOUGH:
        return None if errors else tree, ids
    for error in errors:
        path = tuple(error.absolute_path)
        if error.validator == "additionalProperties":
            extra = [(*path, key) for key in _extra(error)]
            broken.update(p if len(path) < 3 else p[:2] for p in extra)
        elif path:
            broken.add(path[:2])
    for path in broken:
        entry = _value(tree, path)
        ids.add(str(entry["id"] if isinstance(entry, dict) and "id" in entry else path[-1]))
    whole = {p for p in broken if not any(p[:n] in broken for n in range(1, len(p)))}
    return tree.without(whole), ids


def _errors(tree: Tree, name: str, messages: Messages) -> list[Any]:
    if certain(tree.value, schema(name)):
        return []
    found = list(islice(_validator(name).iter_errors(tree.value), ENOUGH + 1))
    unformed = {tuple(e.absolute_path) for e in found if e.validator == "pattern"}
    found = [e for e in found if e.validator != "format" or tuple(e.absolute_path) not in unformed]
    for error in found:
        _report(error, tree, messages)
    return found


def _extra(error: Any) -> list[str]:
    return [key for key in error.instance if key not in error.schema.get("properties", {})]


def _value(tree: Tree, path: Path_) -> Any:
    value = tree.value
    for step in path:
        value = value[step]
    return value


def _name(path: Path_, tree: Tree) -> str:
    """How a person would name a place: "the file", "rule `R041`", "`actions` of entry 2 of `parts`"."""
    if not path:
        return "the file"
    entry = _value(tree, path) if len(path) == 2 else None
    if isinstance(path[-1], int) and isinstance(entry, dict) and "id" in entry:
        return f"{str(path[0]).removesuffix('s')} `{entry['id']}`"
    inner = f"entry {path[-1] + 1}" if isinstance(path[-1], int) else f"`{path[-1]}`"
    return f"{inner} of {_name(path[:-1], tree)}" if path[:-1] else inner


def _report(error: Any, tree: Tree, messages: Messages) -> None:
    path = tuple(error.absolute_path)
    where = _name(path, tree)
    span = tree.at(*path)
    if error.validator in ("oneOf", "anyOf") and error.context:
        _report(_best(error), tree, messages)
    elif error.validator in ("additionalProperties", "unevaluatedProperties"):
        known = list(error.schema.get("properties", {}))
        for key in islice(_extra(error), ENOUGH):
            hint = "" if messages.enough else nearest(key, known)
            step = "remove it" if not known else f"known here: {', '.join(known)}"
            text = f"`{key}` is not known in {where}"
            messages.add("KN110", text, tree.key(*path, key), nearest=hint, next_step=step)
    elif error.validator == "required":
        missing = [k for k in error.validator_value if k not in error.instance]
        for key in missing:
            messages.add("KN111", f"{where} has no `{key}`", span, next_step=f"add `{key}:`")
    elif error.validator == "enum":
        words = [str(v) for v in error.validator_value]
        hint = "" if messages.enough else nearest(str(error.instance), words)
        text = f"`{_short(error.instance)}` is not one of: {', '.join(words)}"
        messages.add("KN112", text, span, nearest=hint, next_step="use one of the listed words")
    elif error.validator == "type":
        wanted = [error.validator_value] if isinstance(error.validator_value, str) else error.validator_value
        text = f"{where} must be {' or '.join(_KINDS[w] for w in wanted)}, not {_kind_of(error.instance)}"
        messages.add("KN113", text, span, next_step=_FORMS[wanted[0]])
    elif error.validator in ("pattern", "format"):
        form = error.schema.get("description", f"of the form {error.validator_value}")
        code, is_no, step = "KN114", f"is not {form}", "write it in that form"
        if error.validator == "format":
            code, is_no, step = "KN306", "is no date of the calendar", "write a day that exists"
        messages.add(code, f"{where}: `{_short(error.instance)}` {is_no}", span, next_step=step)
    elif error.validator == "minItems":
        text, step = f"{where} has too few entries", f"at least {error.validator_value} must stand there"
        messages.add("KN114", text, span, next_step=step)
    else:
        text = f"{where}: {_short(error.message)}"
        messages.add("KN114", text, span, next_step=error.schema.get("description", "keep within that limit"))


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


_FORMS = {
    "object": "write `key: value` lines under it",
    "array": "write a list, as [one, two], also for a single entry",
    "string": "write text; quotes make text of a number, a date or true",
    "number": "write a bare number",
    "integer": "write a whole number",
    "boolean": "write true or false",
}


def _kind_of(value: Any) -> str:
    for kind, name in (
        (dict, "object"),
        (list, "array"),
        (bool, "boolean"),
        (str, "string"),
        (int, "integer"),
    ):
        if isinstance(value, kind):
            return _KINDS[name]
    return "empty" if value is None else "a number"
