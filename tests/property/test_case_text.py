"""An answer is put into a case file at its place: whatever a person wrote there stays."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from typing import Any

import pytest
from knockon.cli.case_text import Change, edited
from knockon.engine.diagnostics.message import InputError, Messages
from knockon.engine.load.tree import parse_tree

FACTS = ("event_type", "area", "rollover", "lamp", "own_key")
VALUES: tuple[Any, ...] = (
    "yes",
    "no",
    ["front", "rear"],
    [],
    "unknown",
    None,
    3,
    "12 km/h",
    "it's: odd #1",
    "übel",
)
SYSTEMS = ("radar_front", "cam_front", "sas", "eps", "tpms", "imu")


class Writer:
    """Writes a case the way different people would: block or flow, with comments and blank lines anywhere."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.count = 0

    def note(self, lead: str) -> str:
        """A comment that is unlike every other, or nothing."""
        self.count += 1
        return f"{lead}# note {self.count}: see 'this' [x]" if self.rng.random() < 0.35 else ""

    def lines(self) -> Iterator[str]:
        """The whole file."""
        if self.rng.random() < 0.3:
            yield "---"
        yield from self.loose("")
        yield "case: lr-1" + self.note("  ")
        yield "date: 2026-11-20" + self.note(" ")
        sections = ["vehicle", "intake", "scan", "strange", "fitted", "parts"]
        for section in self.rng.sample(sections, self.rng.randint(0, 6)):
            yield from self.loose("")
            if section == "fitted":
                yield from self.fitted()
            elif section == "parts":
                yield from self.parts()
            else:
                yield from self.facts(section)
        yield from self.loose("")

    def loose(self, indent: str) -> Iterator[str]:
        """Comments and blank lines between entries."""
        while self.rng.random() < 0.3:
            yield self.rng.choice(("", self.note(indent)))

    def facts(self, section: str) -> Iterator[str]:
        """A section of answers."""
        style = self.rng.random()
        facts = self.rng.sample(FACTS, self.rng.randint(1, 4))
        if style < 0.12:
            yield f"{section}:" + self.note("  ")
        elif style < 0.25:
            inside = ", ".join(f"{f}: {self.flow(self.rng.choice(VALUES[:4]))}" for f in facts)
            yield f"{section}: {{{inside}}}" + self.note("  ")
        else:
            indent = self.rng.choice(("  ", "    "))
            yield f"{section}:" + self.note("  ")
            for fact in facts:
                yield from self.loose(indent)
                yield from self.fact(indent, fact, self.rng.choice(VALUES))

    def fact(self, indent: str, fact: str, value: Any) -> Iterator[str]:
        """One answer; a list in one line, over several, or with dashes."""
        if isinstance(value, list) and value and self.rng.random() < 0.5:
            yield f"{indent}{fact}:" + self.note("  ")
            dash = self.rng.choice(("", "  "))
            for item in value:
                yield f"{indent}{dash}- {item}" + self.note(" ")
        elif isinstance(value, list) and self.rng.random() < 0.5:
            yield f"{indent}{fact}:"
            yield f"{indent}  [" + f",{self.note(' ')}\n{indent}   ".join(value) + "]" + self.note("  ")
        else:
            yield f"{indent}{fact}: {self.flow(value)}".rstrip() + self.note("  ")

    def flow(self, value: Any) -> str:
        """A value in one line."""
        if isinstance(value, list):
            return "[" + ", ".join(value) + "]"
        if isinstance(value, str) and "'" in value:
            return '"' + value + '"'
        return "" if value is None else str(value)

    def fitted(self) -> Iterator[str]:
        """The equipment list."""
        yield "fitted:" + self.note("  ")
        systems = self.rng.sample(SYSTEMS, self.rng.randint(1, 4))
        yield from self.fact("  ", "yes", systems[:2])
        if self.rng.random() < 0.6:
            yield from self.fact("  ", "no", systems[2:])

    def parts(self) -> Iterator[str]:
        """The parts list, with or without indentation."""
        yield "parts:"
        indent = self.rng.choice(("", "  "))
        for _ in range(self.rng.randint(1, 3)):
            yield from self.loose(indent)
            if self.rng.random() < 0.5:
                yield f"{indent}- {{part: hood, actions: [rr]}}" + self.note("  ")
            else:
                yield f"{indent}- part: hood" + self.note("  ")
                yield f"{indent}  damage: broken"


def written(rng: random.Random) -> str:
    """A random file with line ends of either kind; perhaps a byte order mark, perhaps no last line end."""
    newline = rng.choice(("\n", "\n", "\r\n"))
    text = "\n".join(Writer(rng).lines()).replace("\n", newline)
    return rng.choice(("", "", "\ufeff")) + text + (newline if rng.random() < 0.8 else "")


def change(rng: random.Random) -> Change:
    """A random answer."""
    kind = rng.randrange(5)
    if kind == 0:
        systems = tuple((s, "title of it") for s in rng.sample(SYSTEMS, rng.randint(1, 4)))
        return Change(("fitted", rng.choice(("yes", "no"))), add=systems)
    if kind == 1:
        return Change(("parts",), add=(({"part": "hood", "side": "left", "actions": ["ri", "rr"]}, ""),))
    if kind == 2:
        return Change(("lookup", "methods", rng.choice(SYSTEMS)), "static", "front radar")
    section = rng.choice(("vehicle", "intake", "scan", "teardown"))
    value = rng.choice([v for v in VALUES if v is not None])
    return Change((section, rng.choice(FACTS)), value, "what it is")


def value_at(tree: Any, path: tuple[str, ...]) -> Any:
    for key in path:
        tree = tree.get(key) if isinstance(tree, dict) else None
    return tree


def comments(text: str) -> list[str]:
    return re.findall(r"# note \d+: see 'this' \[x\]", text)


@pytest.mark.parametrize("block", range(4))
def test_an_answer_touches_nothing_else(block: int) -> None:
    for seed in range(block * 400, block * 400 + 400):
        rng = random.Random(f"text {seed}")
        text = written(rng)
        before = parse_tree(text.removeprefix("\ufeff"), "x", Messages())
        assert before is not None, text
        new_change = change(rng)
        new = edited(text, "x", [new_change])
        after = parse_tree(new.removeprefix("\ufeff"), "x", Messages())
        assert after is not None
        old_value = value_at(before.value, new_change.path)
        items = [item for item, _ in new_change.add]
        wanted = [*(old_value or []), *items] if items else new_change.value
        assert value_at(after.value, new_change.path) == wanted
        assert sorted(comments(new)) == sorted(comments(text))
        assert new.startswith("\ufeff") == text.startswith("\ufeff")
        assert ("\r\n" in text) == ("\r\n" in new)
        if old_value is None or (items and isinstance(old_value, list)):
            assert is_within(text.rstrip("\r\n"), new)


def is_within(old: str, new: str) -> bool:
    """Whether the new text is the old one with text put in, its lines in the same order."""
    rest = iter(new.splitlines())
    return all(any(put_into(line, other) for other in rest) for line in old.splitlines())


def put_into(line: str, other: str) -> bool:
    """Whether one line is the other with at most one piece put in; a null may have gone."""
    if line == other:
        return True
    same = 0
    while same < min(len(line), len(other)) and line[same] == other[same]:
        same += 1
    tail = line[same:]
    return other.endswith(tail) and (same > 0 or not line)


def test_several_answers_one_after_the_other_read_like_one_file() -> None:
    text = "case: a\ndate: 2026-11-20\n"
    for seed in range(30):
        rng = random.Random(f"many {seed}")
        text = edited(text, "x", [change(rng) for _ in range(2)])
    tree = parse_tree(text, "x", Messages())
    assert tree is not None
    assert list(tree.value) == [
        "case",
        "date",
        "vehicle",
        "fitted",
        "intake",
        "scan",
        "lookup",
        "teardown",
        "parts",
    ]
    assert max(len(line) for line in text.splitlines()) <= 110


HARD = {
    "a list that is a word": ("case: a\ndate: 2026-11-20\nfitted: {no: all_others}\n", ("fitted", "no")),
    "a section that is a word": ("case: a\ndate: 2026-11-20\nfitted: none\n", ("fitted", "no")),
}


@pytest.mark.parametrize("name", HARD)
def test_what_cannot_be_put_in_is_refused_with_the_lines_to_write(name: str) -> None:
    text, path = HARD[name]
    with pytest.raises(InputError) as error:
        edited(text, "case.yaml", [Change(path, add=(("sas", "steering angle sensor"),))])
    message = error.value.messages.errors[0]
    assert message.code == "KN323"
    assert "- sas  # steering angle sensor" in message.next_step
