"""How wide the terminal is and whether it shows emphasis."""

from __future__ import annotations

import os
import shutil
import sys
from typing import TextIO

from ..engine.render.plain import Page

WIDEST = 120


def page(stream: TextIO | None = None) -> Page:
    """The page of a stream: at most 120 columns, 80 when nobody can tell; emphasis only on a terminal."""
    stream = stream or sys.stdout
    width = shutil.get_terminal_size((80, 24)).columns
    shows = stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return Page(max(40, min(width, WIDEST)), shows)


def err_page() -> Page:
    """The page of the messages."""
    return page(sys.stderr)
