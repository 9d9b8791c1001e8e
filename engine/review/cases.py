"""A body of cases, one at a time: a folder of YAML files, or a JSON Lines file with one case a line."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import Any

from ..diagnostics.message import InputError, Messages
from ..load.case import build_case
from ..load.nodes import MAX_DEPTH, MAX_NODES
from ..load.tree import MAX_BYTES, Tree, lies_in, read_tree
from ..load.validate import validate
from ..model.case import Case
from ..model.program import Program
from ..model.record import dataclass
from ..model.span import Span

SUFFIXES = (".yaml", ".yml")


@dataclass(frozen=True, slots=True)
class Item:
    """One case before it is read: its number in the body, where it stands, and its line if it has one."""

    number: int
    at: str
    line: bytes | None = None


def body_of_cases(path: Path) -> Iterator[Item]:
    """The cases of a folder (by name, folders below it too) or of a JSON Lines file (blank lines skipped).

    InputError when there is nothing there to read. Links that lead out of the folder are not followed.
    """
    found = _folder(path) if path.is_dir() else _lines(path) if path.is_file() else iter(())
    first = next(found, None)
    if first is not None:
        return chain([first], found)
    messages = Messages()
    step = "name a folder of case files or a JSON Lines file"
    messages.add("KN501", f"there are no cases at `{path}`", Span(str(path), 1, 1), next_step=step)
    raise InputError(messages)


def _folder(folder: Path) -> Iterator[Item]:
    names = sorted(p for p in folder.rglob("*") if p.suffix in SUFFIXES and lies_in(p, folder))
    for number, name in enumerate(names):
        yield Item(number, str(name))


def _lines(path: Path) -> Iterator[Item]:
    with path.open("rb") as file:
        number = 0
        for row, line in enumerate(_bounded(file), 1):
            if line.strip():
                yield Item(number, f"{path}:{row}", line)
                number += 1


def _bounded(file: Any) -> Iterator[bytes]:
    """Lines of a file; of one that is too long only so much that reading it reports the fact."""
    while line := file.readline(MAX_BYTES + 2):
        rest = line
        while len(rest) > MAX_BYTES and not rest.endswith(b"\n"):
            rest = file.readline(MAX_BYTES + 2)
        yield line


def read_item(item: Item) -> Tree:
    """The checked tree of one case. InputError says what is wrong with it, and where."""
    messages = Messages()
    tree = read_tree(Path(item.at), messages) if item.line is None else _json_tree(item, messages)
    if tree is None or not validate(tree, "case", messages):
        raise InputError(messages)
    return tree


def case_of(tree: Tree, program: Program) -> Case:
    """The case of a checked tree as one program sees it. InputError when it does not fit."""
    return build_case(tree, program, Messages())


def first_problem(error: InputError) -> str:
    """The first message in one line, and how many more there are."""
    first = error.messages.errors[0]
    place = f"{first.culprits[0].span}: " if first.culprits else ""
    more = len(error.messages.errors) - 1
    return f"{place}{first.code} {first.text}" + (f" (and {more} more)" if more else "")


def _json_tree(item: Item, messages: Messages) -> Tree | None:
    file, _, row = item.at.rpartition(":")
    here = Span(file, int(row), 1)
    line = item.line or b""
    problem = "too long" if len(line) > MAX_BYTES or line.count(b",") > MAX_NODES else ""
    value: Any = None
    if not problem:
        try:
            value = json.loads(line, object_pairs_hook=_once, parse_constant=_refuse)
            problem = "nested too deeply" if _depth(value) > MAX_DEPTH else ""
        except (ValueError, RecursionError) as error:
            problem = str(error) if isinstance(error, ValueError) else "nested too deeply"
    if problem:
        step = "write one case as one JSON object a line"
        messages.add("KN502", f"not a case: {problem}", here, next_step=step)
        return None
    return Tree(file, value, {(): here})


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = next(k for k, times in Counter(key for key, _ in pairs).items() if times > 1)
        raise ValueError(f"`{twice[:80]}` is written twice")
    return found


def _refuse(name: str) -> None:
    raise ValueError(f"{name} is not a number")


def _depth(value: Any) -> int:
    children = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + max(map(_depth, children), default=0)
