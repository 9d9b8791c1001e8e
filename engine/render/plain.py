"""Plain text for terminals and pipes: wrapping, emphasis, and nothing that could steer a terminal."""

from __future__ import annotations

import json
import re
import unicodedata
from typing import Any

from ..model.record import dataclass

_CODES = {"strong": "1", "faint": "2", "alert": "1;4"}
_SAFE = {"\n"}
NARROWEST = 40


def clean(text: object) -> str:
    """Text without control characters and direction overrides: user text can never steer a terminal."""
    told = str(text)
    if told.isprintable():  # nothing of category C among it: the usual case, and much faster to see
        return told
    return "".join(c if c in _SAFE or unicodedata.category(c)[0] != "C" else "\ufffd" for c in told)


_STEERS = (
    "[\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufeff]"  # compiled at first use
)


def as_json(data: Any) -> str:
    """Indented JSON; what could steer a terminal is written as its number, which is the same text to a program."""
    text = json.dumps(data, indent=1, ensure_ascii=False)
    return re.sub(_STEERS, lambda found: f"\\u{ord(found[0]):04x}", text) + "\n"


@dataclass(frozen=True, slots=True)
class Page:
    """How wide to write, and whether emphasis may be shown by terminal codes."""

    width: int = 80
    colour: bool = False

    def emphasise(self, text: str, how: str) -> str:
        """The text, emphasised where the terminal can; the words alone must carry the meaning."""
        return f"\x1b[{_CODES[how]}m{text}\x1b[0m" if self.colour else text

    def wrap(self, text: object, indent: int = 0, first: str | None = None, hang: int | None = None) -> str:
        """Wrapped text; `first` stands before it on the first line, the rest hangs under it."""
        lead = " " * indent if first is None else first
        told, width = str(text), self.width if self.width > NARROWEST else NARROWEST
        if not told.isprintable():
            told = clean(told).replace("\n", " ")
        bare = told.strip()
        if not bare:
            return lead.rstrip()
        plain = bare == told and told.isprintable()
        if plain and len(lead) + len(told) <= width:
            return lead + told
        return _filled(told, width, lead, " " * (len(lead) if hang is None else hang), plain)

    def heading(self, text: str) -> str:
        """A section heading with a rule under it."""
        shown = self.wrap(text)
        rule = "-" * max(len(line) for line in shown.splitlines())
        return f"\n{self.emphasise(shown, 'strong')}\n{rule}"

    def spread(self, left: str, right: str) -> str:
        """Left and right on one line where both fit, else under each other."""
        gap = self.width - len(left) - len(right)
        return f"{left}{' ' * gap}{right}" if gap >= 2 else f"{left}\n{right.rjust(self.width)}"


def _filled(text: str, width: int, lead: str, rest: str, plain: bool) -> str:
    """What `textwrap.fill` makes of it; `plain` words, one space apart, need much less work than every text."""
    plain = plain and "  " not in text
    done, start, indent, room = "", 0, lead, width - len(lead)
    while plain and len(text) - start > room:
        end = text.rfind(" ", start, start + room + 1)
        plain = end > start
        done = f"{done}{indent}{text[start:end]}\n"
        start, indent, room = end + 1, rest, width - len(rest)
    if not plain:
        import textwrap

        return textwrap.fill(text, width, initial_indent=lead, subsequent_indent=rest, break_on_hyphens=False)
    return f"{done}{indent}{text[start:]}"
