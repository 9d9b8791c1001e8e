"""Looking names up in a vocabulary, with a message and the nearest name when one is wrong."""

from __future__ import annotations

from collections.abc import Collection

from ..diagnostics.message import Messages
from ..diagnostics.nearest import nearest
from ..model.span import Span

FEW = 12


def known(name: object, names: Collection[str], what: str, span: Span, messages: Messages) -> bool:
    """True when the name is in the vocabulary; otherwise add a message with the nearest one."""
    if isinstance(name, str) and name in names:
        return True
    hint = "" if messages.enough else nearest(str(name), names)
    step = "" if hint else f"`knockon schema pack` lists every {what}"
    if not hint and len(names) <= FEW:
        step = (
            f"one of: {', '.join(n for n in names if n)}" if names else f"these packs have no {what} at all"
        )
    messages.add("KN201", f"no {what} is called `{name}`", span, nearest=hint, next_step=step)
    return False


def as_list(value: object) -> list[object]:
    """One or many, as a list; nothing is the empty list."""
    if value is None:
        return []
    return list(value) if isinstance(value, list) else [value]
