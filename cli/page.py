"""How wide the terminal is and whether it shows emphasis."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from typing import TextIO

from ..engine.render.plain import Page

WIDEST = 120


def page(stream: TextIO | None = None) -> Page:
    """The page of a stream: at most 120 columns, 80 when nobody can tell; emphasis only on a terminal."""
    stream = stream or sys.stdout
    shows = stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return Page(max(40, min(_columns(), WIDEST)), shows)


def _columns() -> int:
    """As `shutil.get_terminal_size` has it, which brings every archive format along."""
    with suppress(ValueError):
        if (told := int(os.environ.get("COLUMNS", ""))) > 0:
            return told
    with suppress(AttributeError, ValueError, OSError):  # no such stream, or no terminal
        return os.get_terminal_size(sys.__stdout__.fileno()).columns or 80  # type: ignore[union-attr]
    return 80


def err_page() -> Page:
    """The page of the messages."""
    return page(sys.stderr)
