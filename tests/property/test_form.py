"""The quick look at a file's form is never certain of what the schema library would refuse."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, FormatChecker
from knockon.engine.load.form import certain
from knockon.engine.load.validate import schema

TOP = Path(__file__).parents[2]
VALIDATORS = {
    name: Draft202012Validator(schema(name), format_checker=FormatChecker(("date",)))
    for name in ("case", "pack", "content")
}
FILES = [("case", f) for f in sorted(TOP.glob("examples/*/case.yaml"))]
FILES += [("pack", f) for f in sorted(TOP.glob("rules/*/pack.yaml"))]
FILES += [("content", f) for f in sorted(TOP.glob("examples/packs/*/*.yaml")) if f.name != "pack.yaml"]
DOCUMENTS = [(name, yaml.load(f.read_text("utf-8"), yaml.BaseLoader)) for name, f in FILES]
WORDS = (
    "yes",
    "unknown",
    "2026-02-30",
    "2026-02-28",
    "2026-2-3",
    "20260228",
    "x",
    "",
    "1.0.0",
    "front",
    "\n",
)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-3, 400) | st.floats(allow_nan=False) | st.sampled_from(WORDS),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(("part", "value", "at", "x")), inner)
    ),
    max_leaves=5,
)


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in a document."""
    found = [path]
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, part in inner:
        found += places(part, (*path, key))
    return found


def changed(document: Any, path: tuple[Any, ...], new: Any, how: str) -> Any:
    """The document with one place replaced, removed, or given something more."""
    if not path:
        return new
    document = copy.deepcopy(document)
    parent = document
    for key in path[:-1]:
        parent = parent[key]
    if how == "replace":
        parent[path[-1]] = new
    elif how == "remove":
        del parent[path[-1]]
    elif isinstance(parent, dict):
        parent["extra"] = new
    else:
        parent.append(new)
    return document


@settings(max_examples=400, deadline=None)
@given(st.data())
def test_certain_means_valid(data: st.DataObject) -> None:
    name, document = data.draw(st.sampled_from(DOCUMENTS))
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from(places(document)))
        how = data.draw(st.sampled_from(("replace", "remove", "add")))
        document = changed(document, path, data.draw(VALUES), how)
    if certain(document, schema(name)):
        assert VALIDATORS[name].is_valid(document), json.dumps(document)


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_certain_means_valid_for_each_keyword(data: st.DataObject) -> None:
    """Small schemas at random, so that every keyword is met with every type of value."""
    words = {
        "type": st.sampled_from(("object", "array", "string", "number", "integer", "boolean"))
        | st.lists(st.sampled_from(("object", "array", "string", "number")), min_size=1, unique=True),
        "enum": st.just(["yes", "x", 1, True, 0]),
        "pattern": st.sampled_from(("^[a-z]+$", "[0-9]")),
        "format": st.just("date"),
        "minLength": st.integers(0, 3),
        "maxLength": st.integers(0, 3),
        "minItems": st.integers(0, 2),
        "minProperties": st.integers(0, 2),
        "minimum": st.integers(-2, 5),
        "required": st.lists(st.sampled_from(("part", "x")), unique=True),
        "items": st.just({"type": ["string", "number"]}),
        "properties": st.just({"part": {"type": "string"}}),
        "additionalProperties": st.sampled_from((False, True, {"type": "integer"})),
        "maxItems": st.just(1),
    }
    some = data.draw(st.fixed_dictionaries({}, optional=words))
    value = data.draw(VALUES)
    if certain(value, some):
        assert Draft202012Validator(some, format_checker=FormatChecker(("date",))).is_valid(value)


def test_every_good_case_is_certain() -> None:
    """Else each plan would load the schema library again."""
    from knockon.engine.diagnostics.message import Messages
    from knockon.engine.load.tree import read_tree

    for name, file in FILES:
        tree = read_tree(file, Messages())
        if name == "case":
            assert tree is not None
            assert certain(tree.value, schema(name)), file
