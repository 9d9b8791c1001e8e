"""The interpreter's search for garbage, kept away from what lives as long as the command."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def kept() -> Iterator[None]:
    """What is made in this block is never searched: modules and packs are no garbage before the command ends."""
    searched = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if searched:
            gc.enable()
