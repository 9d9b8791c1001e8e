"""The plan of rooms, kept by machine: who imports whom, what the engine never does, how large pieces are."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from command import TOP

ROOMS = ["model", "diagnostics", "load", "measure", "infer", "explain", "plan", "review", "render"]
ENGINE = sorted((TOP / "engine").rglob("*.py"))
CLI = sorted((TOP / "cli").glob("*.py"))
MODULES = ENGINE + CLI
MOST_FUNCTION, MOST_MODULE = 60, 300
FORBIDDEN_IMPORTS = {
    "socket", "ssl", "http", "requests", "ftplib", "smtplib", "asyncio", "random", "secrets", "uuid", "time",
    "pickle", "marshal", "shelve", "getpass", "platform",
}  # fmt: skip
# Where a room needs one of them, and why stands there: the results of a batch are synced at intervals.
ALLOWED = {("review", "time")}
# The one text of Python that is put together and run: an `__init__`, from the names of a class's own fields.
WRITES_CODE = TOP / "engine" / "model" / "record.py"
CLOCKS = {"now", "today", "utcnow", "time", "perf_counter"}
NAMES_NOT_USED = re.compile(r"(util|manager|helper|misc|common)s?", re.IGNORECASE)


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"), str(path))


def _imports(path: Path) -> Iterator[tuple[str, ...]]:
    """Every import as the dotted path it names, relative ones resolved from the folder `knockon`."""
    here = ("knockon", *path.relative_to(TOP).parts[:-1])
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Import):
            yield from (tuple(alias.name.split(".")) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = here[: len(here) - node.level + 1] if node.level else ()
            base = (*above, *(node.module or "").split(".")) if node.module else above
            yield from ((*base, alias.name) for alias in node.names)


def _name(path: Path) -> str:
    return str(path.relative_to(TOP))


def _every(paths: list[Path]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("path", paths, ids=_name)


def test_every_room_is_on_the_plan() -> None:
    assert sorted(p.name for p in (TOP / "engine").iterdir() if (p / "__init__.py").exists()) == sorted(ROOMS)


def test_rooms_import_only_from_rooms_to_their_left() -> None:
    wrong, allowed = [], {room: [(r,) for r in ROOMS[: i + 1]] for i, room in enumerate(ROOMS)}
    for path in [p for p in ENGINE if p.parent != TOP / "engine"]:
        room = path.relative_to(TOP / "engine").parts[0]
        for target in _imports(path):
            if target[:2] == ("knockon", "cli"):
                wrong.append(f"{_name(path)} imports the command line")
            elif target[:2] == ("knockon", "engine") and target[2:3] not in allowed[room]:
                wrong.append(f"{_name(path)} imports {'.'.join(target[1:])}")
    assert wrong == []


def test_the_check_shares_only_the_model_with_the_rules_engine() -> None:
    """Guarantee 3 of the design: two engines with a common fault would agree on it."""
    own = {"check", "certify", "lookup"}
    for name in own:
        path = TOP / "engine" / "infer" / f"{name}.py"
        seen = {t[2:] for t in _imports(path) if t[:2] == ("knockon", "engine")}
        assert {t[:2] for t in seen if t[0] not in ("model", "diagnostics")} <= {("infer", n) for n in own}


def test_heavy_libraries_are_imported_only_where_they_are_used() -> None:
    """Whatever a cold start does not need: a module of the engine may import it inside a function only."""
    heavy = {"durable_rules_engine", "durable", "jsonschema", "pint", "clingo", "jinja2", "ruamel", "rich"}
    wrong = []
    for path in MODULES:
        top = [n for n in _tree(path).body if isinstance(n, ast.Import | ast.ImportFrom)]
        names = {a.name.split(".")[0] for n in top if isinstance(n, ast.Import) for a in n.names}
        names |= {
            (n.module or "").split(".")[0] for n in top if isinstance(n, ast.ImportFrom) and not n.level
        }
        wrong += [f"{_name(path)}: {n}" for n in sorted(names & heavy)]
    assert wrong == []


@_every(ENGINE)
def test_the_engine_never_prints_asks_the_time_the_network_or_chance(path: Path) -> None:
    room, wrong = path.relative_to(TOP / "engine").parts[0], []
    for target in _imports(path):
        if target[0] in FORBIDDEN_IMPORTS and (room, target[0]) not in ALLOWED:
            wrong.append(".".join(target))
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Call):
            called = node.func
            barred = {"print", "input", "eval"} | ({"exec"} if path != WRITES_CODE else set())
            if isinstance(called, ast.Name) and called.id in barred:
                wrong.append(f"{called.id} at line {node.lineno}")
            if isinstance(called, ast.Attribute) and called.attr in CLOCKS and room != "review":
                wrong.append(f"{called.attr} at line {node.lineno}")
        if isinstance(node, ast.Attribute) and node.attr in ("stdout", "stderr") and room != "review":
            wrong.append(f"{node.attr} at line {node.lineno}")
    assert wrong == []


@_every(MODULES)
def test_records_are_those_of_the_model(path: Path) -> None:
    """Data classes of the standard library are compiled at every start, used or not."""
    wrong = [".".join(t) for t in _imports(path) if t[0] == "dataclasses"]
    assert wrong == [] or path == WRITES_CODE


@_every(MODULES)
def test_modules_and_functions_stay_small(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= MOST_MODULE
    long = [
        f"{node.name}: {node.end_lineno - node.lineno + 1}"
        for node in ast.walk(_tree(path))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (node.end_lineno or 0) - node.lineno >= MOST_FUNCTION
    ]
    assert long == []


@_every(MODULES)
def test_every_public_name_says_what_it_means(path: Path) -> None:
    tree = _tree(path)
    missing = [] if ast.get_docstring(tree) else ["the module"]
    named = (ast.FunctionDef, ast.ClassDef)
    for node in tree.body:
        if isinstance(node, named) and not node.name.startswith("_"):
            missing += [] if ast.get_docstring(node) else [node.name]
            if isinstance(node, ast.ClassDef):
                inner = [n for n in node.body if isinstance(n, named) and not n.name.startswith("_")]
                missing += [f"{node.name}.{n.name}" for n in inner if not ast.get_docstring(n)]
    assert missing == []


@_every(MODULES)
def test_every_parameter_and_result_has_a_type(path: Path) -> None:
    bare = []
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.FunctionDef):
            arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            untyped = [a.arg for a in arguments if a.annotation is None and a.arg not in ("self", "cls")]
            bare += [f"{node.name}({a})" for a in untyped] + ([] if node.returns else [node.name])
    assert bare == []


def test_no_module_is_named_after_nothing() -> None:
    assert [_name(p) for p in MODULES if NAMES_NOT_USED.fullmatch(p.stem)] == []


def test_text_a_person_reads_never_promises_safety() -> None:
    """Whether a car may be driven is for licensed people to say. The words stand nowhere, not even denied."""
    words = re.compile("safe to " + "drive", re.IGNORECASE)
    kinds = ("*.py", "*.yaml", "*.md", "*.json", "*.j2", "*.css", "*.txt", "*.toml")
    folders = ("engine", "cli", "rules", "schemas", "examples", "docs")
    files = [p for f in folders for kind in kinds for p in (TOP / f).rglob(kind)] + list(TOP.glob("*.md"))
    assert [_name(p) for p in files if words.search(p.read_text("utf-8", "replace"))] == []
