"""The nearest valid name for a wrong one."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(wrong: str, names: Iterable[str]) -> str:
    """The closest name, or '' when none is close enough to be a likely slip."""
    names = sorted(set(names))
    if wrong.strip().lower().replace("-", "_").replace(" ", "_") in names:
        return wrong.strip().lower().replace("-", "_").replace(" ", "_")
    found = difflib.get_close_matches(str(wrong)[:80], names, n=1, cutoff=0.75)
    return found[0] if found else ""
