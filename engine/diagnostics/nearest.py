"""The nearest valid name for a wrong one."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(wrong: str, names: Iterable[str]) -> str:
    """The closest name, or '' when none is close enough to be a likely slip."""
    names, wrong = sorted(set(names)), wrong[:80]
    plain = wrong.strip().lower().replace("-", "_").replace(" ", "_")
    if plain in names:
        return plain
    swapped = [name for name in names if sorted(name) == sorted(wrong)]
    found = difflib.get_close_matches(wrong, names, n=1, cutoff=0.75) or swapped
    return found[0] if found else ""
