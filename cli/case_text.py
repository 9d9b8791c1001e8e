"""Answers written into the text of a case file: what a person wrote there stays as it is, byte for byte.

A tool that reads and writes the whole file would rewrap its lists. So each answer is put in at its place, and
the new text is read back: it must hold what the old one held, and the answers, and nothing else.
"""

from __future__ import annotations

import copy
import json
import re
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import yaml

from ..engine.diagnostics.message import InputError, Messages
from ..engine.load.tree import Tree, parse_tree
from ..engine.model.record import dataclass

ORDER = (
    "case",
    "date",
    "vehicle",
    "fitted",
    "intake",
    "scan",
    "lookup",
    "teardown",
    "crash",
    "parts",
    "procedures",
)
WIDEST = 110
_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_PLAIN = re.compile(
    r"[A-Za-z_][A-Za-z0-9_. µ²°/%()+-]*[A-Za-z0-9_.%/)]|[A-Za-z]"
    r"|[0-9]{4}-[0-9]{2}-[0-9]{2}|-?[0-9]+(\.[0-9]+)? [a-zA-Z/]+"
)
_COMMENT = re.compile(r"(?:(?<=\s)|^)#.*$", re.M)


@dataclass(frozen=True, slots=True)
class Change:
    """A value to stand at a path of keys; with `add`, (item, comment) pairs for the list there."""

    path: tuple[str, ...]
    value: Any = None
    comment: str = ""
    add: tuple[tuple[Any, str], ...] = ()


def edited(text: str, name: str, changes: Sequence[Change]) -> str:
    """The text with the changes. InputError when the form of the file allows one only by touching more."""
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    messages = Messages()
    old = parse_tree(text.removeprefix(mark), name, messages)
    if old is None or not isinstance(old.value, dict):
        raise InputError(messages)
    new = text.removeprefix(mark)
    try:
        for change in changes:
            new = _edited(new, change)
        read = parse_tree(new, name, Messages())
    except (yaml.YAMLError, ValueError):
        read = None
    if read is None or read.value != _expected(old.value, changes):
        raise InputError(_refused(old, changes, text))
    return mark + new


def _expected(value: Any, changes: Iterable[Change]) -> Any:
    value = copy.deepcopy(value)
    for change in changes:
        place = value
        for key in change.path[:-1]:
            if place.get(key) is None:
                place[key] = {}
            place = place[key]
        last = change.path[-1]
        if change.add:
            place[last] = [*(place.get(last) or []), *(item for item, _ in change.add)]
        else:
            place[last] = change.value
    return value


def _refused(old: Tree, changes: Sequence[Change], text: str) -> Messages:
    messages = Messages(lines={old.file: text.splitlines()})
    by_hand = "\n".join(line for c in changes for line in _lines(c.path, c, "  ", "\n"))
    messages.add(
        "KN323",
        "this answer cannot be written without touching what is there; nothing was written",
        old.key(*changes[0].path),
        next_step=f"write it by hand:\n{by_hand}",
    )
    return messages


def _edited(text: str, change: Change) -> str:
    """One change: down the path as far as it leads, then in at that place."""
    node, keys = yaml.compose(text, Loader=_LOADER), list(change.path)
    newline = "\r\n" if "\r\n" in text else "\n"
    while keys:
        if not isinstance(node, yaml.MappingNode):
            raise ValueError
        found = next((pair for pair in node.value if pair[0].value == keys[0]), None)
        if found is None:
            return _new_key(text, node, keys, change, newline)
        key, value = found
        if value.tag.endswith(":null") and (len(keys) > 1 or change.add) and not node.flow_style:
            return _under_key(text, key, value, keys[1:], change, newline)
        node, keys = value, keys[1:]
    if change.add and isinstance(node, yaml.SequenceNode):
        return _new_items(text, node, change, newline)
    return _replaced(text, key, node, change, newline)


def _under_key(text: str, key: Any, empty: Any, keys: Sequence[str], change: Change, newline: str) -> str:
    """Lines below a key that stood there without a value."""
    indent = " " * (key.start_mark.column + 2)
    items = [line for item, comment in change.add for line in _item(item, comment, indent)]
    lines = _lines(keys, change, indent, newline) if keys else items
    text = text[: empty.start_mark.index] + text[empty.end_mark.index :]
    return _put_lines(text, _line_end(text, empty.start_mark.index), lines, newline)


def _nested(keys: Sequence[str], change: Change) -> Any:
    value = [item for item, _ in change.add] if change.add else change.value
    for key in reversed(keys):
        value = {key: value}
    return value


def _new_key(text: str, node: yaml.MappingNode, keys: Sequence[str], change: Change, newline: str) -> str:
    if node.flow_style:
        return _into_flow(text, node, _flow(_nested(keys, change))[1:-1])
    column = node.start_mark.column
    lines = list(_lines(keys, change, " " * column, newline))
    if column:
        return _put_lines(text, _block_end(text, node.value[-1][1], column), lines, newline)
    rank = {name: place for place, name in enumerate(ORDER)}
    before = [v for k, v in node.value if rank.get(k.value, 99) < rank.get(keys[0], 99)]
    end = _block_end(text, (before or [node.value[-1][1]])[-1], 1)
    if len(keys) > 1 or change.add:  # a section stands between blank lines
        lines = ["", *lines, *([""] if text[end : end + 1] not in ("", "\n", "\r") else [])]
    return _put_lines(text, end, lines, newline)


def _new_items(text: str, node: yaml.SequenceNode, change: Change, newline: str) -> str:
    if not node.flow_style:
        lines = [
            line
            for item, comment in change.add
            for line in _item(item, comment, " " * node.start_mark.column)
        ]
        return _put_lines(text, _line_end(text, _end(node.value[-1])), lines, newline)
    for item, _ in change.add:
        text = _into_flow(text, node, _flow(item))
        node = _at(yaml.compose(text, Loader=_LOADER), change.path)
    return text


def _at(node: Any, path: Sequence[str]) -> Any:
    for key in path:
        node = next(v for k, v in node.value if k.value == key)
    return node


def _into_flow(text: str, node: Any, words: str) -> str:
    """After the last entry between brackets; on a line of its own where the line would grow too long."""
    if not node.value:
        at = node.end_mark.index - 1
        return text[:at] + words + text[at:]
    last = node.value[-1]
    last = last[1] if isinstance(last, tuple) else last
    at = _end(last)
    column = at - (text.rfind("\n", 0, at) + 1)
    first = node.value[0][0] if isinstance(node.value[0], tuple) else node.value[0]
    own_line = column + len(words) + 3 > WIDEST
    newline = "\r\n" if "\r\n" in text else "\n"
    return (
        text[:at] + (f",{newline}{' ' * first.start_mark.column}" if own_line else ", ") + words + text[at:]
    )


def _replaced(text: str, key: Any, node: Any, change: Change, newline: str) -> str:
    """What stood there makes way; comments between the items of a list move above the key."""
    many = isinstance(node, yaml.CollectionNode)
    block = many and not node.flow_style
    start, end = text.index(":", key.end_mark.index) + 1 if block else node.start_mark.index, _end(node)
    words = _flow([item for item, _ in change.add] if change.add else change.value)
    gap = " " if text[start - 1] == ":" else ""
    notes = [m.group() for m in _COMMENT.finditer(text[start:end])] if many else []
    line = text.rfind("\n", 0, key.start_mark.index) + 1
    indent = text[line : key.start_mark.index]
    above = "".join(f"{indent}{note.rstrip()}{newline}" for note in notes) if not indent.strip() else ""
    return text[:line] + above + text[line:start] + gap + words + text[end:]


def _end(node: Any) -> int:
    """Where a node's own text ends: for a block of lines, with its last entry."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end(last[1] if isinstance(last, tuple) else last)
    index: int = node.end_mark.index
    return index


def _line_end(text: str, index: int) -> int:
    """The end of the line a place is on; a block of literal text already ends at one."""
    if index and text[index - 1] == "\n":
        return index
    found = text.find("\n", index)
    return len(text) if found < 0 else found + 1


def _block_end(text: str, last: Any, column: int) -> int:
    """Past the last entry of a mapping and the comments under it that are indented with it."""
    end = _line_end(text, _end(last))
    while match := re.compile(r"( *)#.*(\n|\Z)").match(text, end):
        if len(match[1]) < column:
            break
        end = match.end()
    return end


def _put_lines(text: str, at: int, lines: Iterable[str], newline: str) -> str:
    missing = newline if at and text[at - 1] != "\n" else ""
    return text[:at] + missing + "".join(f"{line}{newline}" for line in lines) + text[at:]


def _lines(keys: Sequence[str], change: Change, indent: str, newline: str) -> Iterator[str]:
    """The lines of new keys in block form, the comment after the value or, where it is too long, above it."""
    for key in keys[:-1]:
        yield f"{indent}{key}:"
        indent += "  "
    key = keys[-1]
    if change.add:
        yield f"{indent}{key}:"
        for item, comment in change.add:
            yield from _item(item, comment, indent + "  ")
        return
    note = f"  # {change.comment}" if change.comment else ""
    value = change.value
    line = f"{indent}{key}: {scalar(value, own_line=True) if isinstance(value, str) else _flow(value)}"
    if len(line) + len(note) > WIDEST and note:
        yield f"{indent}# {change.comment}"
        note = ""
    if len(line) > WIDEST and isinstance(change.value, list):
        line = newline.join(
            textwrap.wrap(
                line,
                WIDEST,
                subsequent_indent=indent + "    ",
                break_on_hyphens=False,
                break_long_words=False,
            )
        )
    yield line + note


def _item(item: Any, comment: str, indent: str) -> Iterator[str]:
    yield f"{indent}- {_flow(item)}" + (f"  # {comment}" if comment else "")


def _flow(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{scalar(str(k))}: {_flow(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_flow(v) for v in value) + "]"
    return scalar(value) if isinstance(value, str) else repr(value)


def scalar(text: str, own_line: bool = False) -> str:
    """Text as plain as it can be: quoted as soon as a YAML reader might see something else in it."""
    if _PLAIN.fullmatch(text.replace(", ", " ") if own_line else text) and text.lower() not in (
        "null",
        "true",
        "false",
    ):
        return text
    return json.dumps(text, ensure_ascii=not text.isprintable())
