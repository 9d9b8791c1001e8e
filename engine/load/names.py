"""Looking names up in a vocabulary, with a message and the nearest name when one is wrong."""

from __future__ import annotations

from collections.abc import Collection

from ..diagnostics.message import Messages
from ..diagnostics.nearest import offer
from ..model.span import Span


def known(name: object, names: Collection[str], what: str, span: Span, messages: Messages) -> bool:
    """True when the name is in the vocabulary; otherwise add a message with the nearest one."""
    if isinstance(name, str) and name in names:
        return True
    hint, step = (
        offer(str(name), names, what) if not messages.enough else ("", f"docs/words.md lists every {what}")
    )
    messages.add("KN201", f"no {what} is called `{name}`", span, nearest=hint, next_step=step)
    return False


def as_list(value: object) -> list[object]:
    """One or many, as a list; nothing is the empty list."""
    if value is None:
        return []
    return list(value) if isinstance(value, list) else [value]
