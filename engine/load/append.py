"""One more entry at the end of a case file's log, every other byte as it was."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from ..diagnostics.message import InputError, Messages
from .tree import Tree, parse_tree

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_. µ²°/%()+-]*[A-Za-z0-9_.%/)]|[A-Za-z]")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9]{2}:[0-9]{2}(:[0-9]{2})?)?")
_NOT_PLAIN = ("null", "true", "false")


def append_entry(text: str, name: str, entry: Mapping[str, Any]) -> str:
    """The file's text with the entry appended. InputError when the file's form does not allow it safely.

    The new text is read back: it must hold what the old one held, and the entry, and nothing else.
    """
    tree = parse_tree(text.removeprefix("\ufeff"), name, Messages())
    new = None if tree is None else _insert(text, tree, entry)
    if tree is None or new is None or not _holds(new, name, tree, entry):
        messages = Messages()
        step = "write the log as a list with dashes at the end of the file, or add by hand:\n" + "".join(
            _block(entry, "  ", "\n")
        )
        at = Tree(name, None).at() if tree is None else tree.key("log")
        messages.lines[name] = text.splitlines()
        messages.add(
            "KN321", "this log cannot be appended to without touching what is there", at, next_step=step
        )
        raise InputError(messages)
    return new


def _holds(new: str, name: str, old: Tree, entry: Mapping[str, Any]) -> bool:
    again = parse_tree(new.removeprefix("\ufeff"), name, Messages())
    wanted = {**old.value, "log": [*(old.value.get("log") or []), dict(entry)]}
    return again is not None and again.value == wanted


def _insert(text: str, tree: Tree, entry: Mapping[str, Any]) -> str | None:
    newline = "\r\n" if "\r\n" in text else "\n"
    lines = text.splitlines(keepends=True)
    if not isinstance(tree.value, dict):
        return None
    if "log" not in tree.value:
        return _at(lines, len(lines), [f"log:{newline}", *_block(entry, "  ", newline)], newline)
    key, value, written = tree.key("log"), tree.at("log"), tree.value["log"]
    if written is None:
        return _at(lines, key.line, _block(entry, "  ", newline), newline)
    if lines[value.line - 1][value.column - 1 : value.column] == "[":
        return _into_brackets(lines, value.line - 1, value.column - 2 + value.length, entry, bool(written))
    indent = " " * (value.column - 1)
    end = _end(lines, tree, key.line)
    return _at(lines, end, _block(entry, indent, newline), newline)


def _end(lines: list[str], tree: Tree, log_line: int) -> int:
    """The line after which the log ends: before the next key and the comments that lead up to it."""
    later = [s.line - 1 for path, s in tree.keys.items() if len(path) == 1 and s.line > log_line]
    end = min(later, default=len(lines))
    while end > log_line and (not lines[end - 1].strip() or lines[end - 1].startswith(("#", "..."))):
        end -= 1
    return end


def _at(lines: list[str], end: int, new: list[str], newline: str) -> str:
    before = lines[:end]
    if before and not before[-1].endswith(("\n", "\r")):
        before[-1] += newline
    return "".join([*before, *new, *lines[end:]])


def _into_brackets(
    lines: list[str], row: int, close: int, entry: Mapping[str, Any], more: bool
) -> str | None:
    line = lines[row]
    if line[close : close + 1] != "]":
        return None
    lines[row] = f"{line[:close]}{', ' if more else ''}{_flow(entry)}{line[close:]}"
    return "".join(lines)


def _block(entry: Mapping[str, Any], indent: str, newline: str) -> list[str]:
    lines: list[str] = []
    for key, value in entry.items():
        lead = f"{indent}- " if not lines else f"{indent}  "
        if key == "readings":
            lines.append(f"{lead}readings:{newline}")
            lines += [f"{indent}    {_scalar(k)}: {_flow(v)}{newline}" for k, v in value.items()]
        else:
            lines.append(f"{lead}{key}: {_flow(value)}{newline}")
    return lines


def _flow(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_scalar(k)}: {_flow(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_flow(v) for v in value) + "]"
    return _scalar(value) if isinstance(value, str) else repr(value)


def _scalar(text: str) -> str:
    """Text as plain as it can be: quoted as soon as a YAML reader might see something else in it."""
    if _DAY.fullmatch(text) or (_PLAIN.fullmatch(text) and text.lower() not in _NOT_PLAIN):
        return text
    return json.dumps(text, ensure_ascii=not text.isprintable())
