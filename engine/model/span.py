"""A place in a file a person wrote."""

from __future__ import annotations

from typing import NamedTuple


class Span(NamedTuple):
    """File as the user named it, 1-based line and column, and how many characters to underline."""

    file: str
    line: int
    column: int
    length: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


NOWHERE = Span("", 0, 0, 0)
