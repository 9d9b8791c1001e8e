"""Messages as text: code, what is wrong, every place with its line, the nearest name, the next step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..diagnostics.message import Culprit, Message, Messages
from .plain import Page, clean

MOST_SHOWN = 50


def messages_text(messages: Messages, page: Page) -> str:
    """All messages of a run, errors first, with a closing count."""
    order = {"error": 0, "warning": 1, "note": 2}
    items = sorted(messages.items, key=lambda m: order[m.level])
    shown = [message_text(m, messages.lines, page) for m in items[:MOST_SHOWN]]
    if len(items) > MOST_SHOWN:
        shown.append(f"... and {len(items) - MOST_SHOWN} more")
    errors = len(messages.errors)
    if errors:
        shown.append(f"{errors} problem{'s' if errors > 1 else ''}; nothing was done")
    return "\n\n".join(shown)


def message_text(message: Message, lines: Mapping[str, list[str]], page: Page) -> str:
    """One message."""
    head = f"{message.code} {message.level}: "
    parts = [page.wrap(message.text, first=head, hang=4)]
    for culprit in message.culprits:
        if culprit.span.file:
            parts += _place(culprit, lines, page)
    if message.nearest:
        parts.append(page.wrap(f"did you mean `{message.nearest}`?", first="   = ", hang=5))
    if message.next_step and message.next_step != f"`{message.nearest}` is known":
        parts.append(page.wrap(f"next: {message.next_step}", first="   = ", hang=5))
    return "\n".join(parts)


def _place(culprit: Culprit, lines: Mapping[str, list[str]], page: Page) -> Iterable[str]:
    span = culprit.span
    yield f"  at {clean(span)}"
    source = lines.get(span.file, [])
    if not 0 < span.line <= len(source):
        if culprit.label:
            yield f"     {clean(culprit.label)}"
        return
    number = str(span.line)
    text, start = clean(source[span.line - 1].replace("\t", " ")), span.column - 1
    room = max(30, page.width - len(number) - 6)
    cut = max(0, min(start - room // 2, len(text) - room)) if len(text) > room else 0
    piece = text[cut : cut + room]
    yield f"  {number} | {piece}"
    under = "^" * max(1, min(span.length, len(piece) - (start - cut)))
    label = f" {clean(culprit.label)}" if culprit.label else ""
    yield f"  {' ' * len(number)} | {' ' * (start - cut)}{under}{label}"
