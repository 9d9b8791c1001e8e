"""JSON Schemas for editors: the package's own, with the ids of the packs in use as words to choose from."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from typing import Any

from ..diagnostics.codes import CODES
from ..load.case import SECTIONS
from ..load.validate import schema
from ..model.answers import ACTIONS, DAMAGE, DATE_FACT, METHODS, OUTCOMES, VERDICTS
from ..model.catalogue import FactSpec
from ..model.places import PLACES
from ..model.program import Program

Schema = dict[str, Any]
FILES = {"case": "case", "pack": "pack", "rule": "content"}
UNKNOWN = {"unknown": "nobody has said yet"}

# Where ids stand: path (`[]` an item, `{}` a value under any key) and the words that fit; `*`: one or many.
CASE = {
    "fitted.yes.[]": "system",
    "scan.codes.yes.[]": "system",
    "scan.codes.no.[]": "system",
    "parts.[].part": "part",
    "parts.[].actions.[]": "action",
    "parts.[].damage": "damage",
    "procedures.[].operation": "operation",
    "log.[].did": "line",
    "log.[].waived": "line",
    "log.[].event": "event",
    "log.[].part": "part",
    "log.[].system": "system",
}
CONTENT = {
    "parts.{}.carries.[]": "system",
    "parts.{}.covers.[]": "system",
    "parts.{}.near.[]": "system",
    "operations.{}.systems.[]": "system",
    "operations.{}.phase": "phase",
    "operations.{}.needs.[]": "precondition",
    "operations.{}.cautions.[]": "caution",
    "operations.{}.after.[]": "operation",
    "operations.{}.void_by.[]": "event",
    "rules.[].then.[].plan": "operation*",
    "rules.[].then.[].hold": "operation*",
    "rules.[].then.[].drop": "operation*",
    "rules.[].then.[].void": "operation*",
    "rules.[].then.[].conclude": "derived*",
    "rules.[].then.[].fits": "system*",
    "rules.[].then.[].side": "place*",
    "rules.[].source.[].id": "source",
    "rules.[].replace": "rule",
    "rules.[].withdraw": "rule",
    "rules.[].accept.[].code": "finding",
    "scenarios.[].fires.[]": "rule",
    "scenarios.[].given.fitted.[]": "system",
    "scenarios.[].given.not_fitted.[]": "system",
    "scenarios.[].given.parts.[].part": "part",
    "scenarios.[].given.parts.[].actions.[]": "action",
    "scenarios.[].given.parts.[].damage": "damage",
    "scenarios.[].given.codes.[]": "system",
    "scenarios.[].given.methods.{}": "method",
    "scenarios.[].given.procedures.{}": "verdict",
}
PATTERN = {
    "fact": "fact",
    "fitted": "system*",
    "code": "system*",
    "method": "system",
    "touched": "part*",
    "damaged": "part*",
    "derived": "derived",
    "result": "operation*",
    "planned": "operation*",
    "procedure": "operation*",
    "carries": "system*",
    "covers": "system*",
    "near": "system*",
    "actions.[]": "action",
    "states.[]": "damage",
    "outcome.[]": "outcome",
    "verdict.[]": "verdict",
    "side": "place*",
}


def editor_schema(kind: str, program: Program) -> Schema:
    """The schema of a `case`, `pack` or `rule` file; ValueError for another kind.

    Ids the program does not know count as wrong, so generate it with the pack that is being written.
    """
    if kind not in FILES:
        raise ValueError(f"no schema for `{kind}`; one of: {', '.join(FILES)}")
    found = copy.deepcopy(schema(FILES[kind]))
    found["$id"] = found["$id"].replace("/schemas/", "/editor/")
    found["title"] = f"{kind}, with the names of " + ", ".join(f"{p.name} {p.version}" for p in program.packs)
    defs = found.setdefault("$defs", {})
    defs.update(_words(program))
    if kind == "case":
        _put(found, CASE)
        _sections(found, program)
    else:
        _put(defs["pattern"], PATTERN)
        defs["pattern"]["allOf"] = [
            _value_test(s) for s in program.facts.values() if s.type in ("choice", "set")
        ]
    if kind == "rule":
        _put(found, CONTENT)
        found["properties"]["scenarios"]["items"]["properties"]["given"]["properties"]["facts"] = {
            "type": "object",
            "properties": {s.id: _answer(s) for s in _asked(program)},
            "additionalProperties": False,
        }
    if kind == "pack":
        found["properties"]["accepted"]["items"]["properties"]["code"] = {"$ref": "#/$defs/finding"}
    return found


def _words(program: Program) -> Schema:
    """Every kind of id as a list of words with their titles."""
    shelves: Mapping[str, Mapping[str, str]] = {
        "fact": {f.id: f.title for f in program.facts.values()},
        "system": {s.id: s.title for s in program.systems.values()},
        "part": {p.id: p.title for p in program.parts.values()},
        "operation": {o.id: o.title for o in program.operations.values()},
        "line": _lines(program),
        "derived": {d.id: d.title for d in program.derived.values()},
        "event": {e.id: e.title for e in program.events.values()},
        "source": {s.id: s.title for s in program.sources.values()},
        "rule": {r.id: r.title for r in program.rules.values()},
        "phase": program.phases,
        "precondition": program.preconditions,
        "caution": program.cautions,
        "finding": {c: known.title for c, known in CODES.items() if c.startswith("KN4")},
        "action": dict.fromkeys((*ACTIONS, "none"), ""),
        "damage": dict.fromkeys((*DAMAGE, "unknown"), ""),
        "method": dict.fromkeys((*METHODS, "unknown"), ""),
        "outcome": dict.fromkeys(OUTCOMES, ""),
        "verdict": dict.fromkeys(VERDICTS, ""),
        "place": dict.fromkeys((*PLACES[1:], "all"), ""),
    }
    return {name: _enum(words) for name, words in shelves.items()}


def _lines(program: Program) -> dict[str, str]:
    """Operations, and with a place those that are done once per place."""
    found = {}
    for operation in program.operations.values():
        found[operation.id] = operation.title
        if operation.per != "vehicle":
            found |= {f"{operation.id}.{p}": f"{operation.title}, {p.replace('_', ' ')}" for p in PLACES[1:]}
    return found


def _enum(words: Mapping[str, str]) -> Schema:
    """A closed list of words; editors show the descriptions, validators pass over them."""
    if not words:
        return {"type": "string"}
    found: Schema = {"enum": list(words)}
    return found | ({"enumDescriptions": list(words.values())} if any(words.values()) else {})


def _put(root: Schema, paths: Mapping[str, str]) -> None:
    for path, name in paths.items():
        node = root
        for step in path.split("."):
            node = {"[]": node.get("items"), "{}": node.get("additionalProperties")}.get(step) or node[
                "properties"
            ][step]
        one = {"$ref": f"#/$defs/{name.rstrip('*')}"}
        more = [
            {"type": "array", "items": one, "minItems": 1},
            {"type": "string", "pattern": r"^(any|\$[a-z]+)$"},
        ]
        node.clear()
        node.update({"anyOf": [one, *more]} if name.endswith("*") else one)


def _asked(program: Program) -> Iterable[FactSpec]:
    return (s for s in program.facts.values() if s.id != DATE_FACT)


def _sections(found: Schema, program: Program) -> None:
    """Each section lists the facts that may be answered in it."""
    for name in SECTIONS:
        section = found["properties"][name]
        facts = {s.id: _answer(s) for s in _asked(program) if name in s.sections}
        section["properties"] = {**section.get("properties", {}), **facts}
        section["additionalProperties"] = False
    methods = {s.id: {"description": s.title, "$ref": "#/$defs/method"} for s in program.systems.values()}
    lookup = found["properties"]["lookup"]["properties"]["methods"]
    lookup.update({"properties": methods, "additionalProperties": False})
    some = {"type": "array", "items": {"$ref": "#/$defs/system"}}
    found["properties"]["fitted"]["properties"]["no"] = {"anyOf": [{"const": "all_others"}, some]}


def _answer(spec: FactSpec) -> Schema:
    """What may be written as the answer to a fact, with the question as its description."""
    said: Schema = {"description": f"{spec.ask} {spec.help}".strip()}
    if spec.type in ("number", "date"):
        bounds = dict(zip(("minimum", "maximum"), spec.between, strict=False))
        return said | {"type": "string" if spec.type == "date" else ["number", "string"]} | bounds
    if spec.type == "choice":
        return said | _enum({**_values(spec), **UNKNOWN})
    one = {"$ref": "#/$defs/system"} if "*" in spec.values else _enum(_values(spec))
    return said | {
        "anyOf": [one, {"type": "array", "items": one}, _enum({"none": "nothing of this", **UNKNOWN})]
    }


def _values(spec: FactSpec) -> Mapping[str, str]:
    return {v: "" if t == v else t for v, t in spec.values.items()}


def _value_test(spec: FactSpec) -> Schema:
    """In a pattern on this fact, only its own values."""
    one = {"$ref": "#/$defs/system"} if "*" in spec.values else _enum(_values(spec))
    or_open = {"anyOf": [one, {"const": "not_known"}]}
    many = {key: {"items": one} for key in ("in", "not_in", "any_of", "none_of")}
    then = {"properties": {"is": or_open, **many}}
    return {"if": {"properties": {"fact": {"const": spec.id}}, "required": ["fact"]}, "then": then}
