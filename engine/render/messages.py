"""Messages as text: code, what is wrong, every place with its line, the nearest name, the next step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from unicodedata import combining, east_asian_width

from ..diagnostics.message import Culprit, Message, Messages
from ..model.span import NOWHERE
from .plain import Page, clean

MOST_SHOWN = 50
MOST_PLACES = 20


def messages_text(messages: Messages, page: Page) -> str:
    """All messages of a run, errors first, file by file from top to bottom, with a closing count."""
    levels, files = ("error", "warning", "note"), list(messages.lines)

    def order(message: Message) -> tuple[int, ...]:
        span = message.culprits[0].span if message.culprits else NOWHERE
        known = files.index(span.file) if span.file in messages.lines else len(files)
        return levels.index(message.level), known, span.line, span.column

    items = sorted(messages.items, key=order)
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
    for culprit in message.culprits[:MOST_PLACES]:
        if culprit.span.file:
            parts += _place(culprit, lines, page)
    if len(message.culprits) > MOST_PLACES:
        parts.append(f"  ... and {len(message.culprits) - MOST_PLACES} more places")
    if message.nearest:
        parts.append(page.wrap(f"did you mean `{message.nearest}`?", first="   = ", hang=5))
    if message.next_step:
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
    number, line, start = str(span.line), source[span.line - 1].replace("\t", " "), span.column - 1
    room = max(30, page.width - len(number) - 6)
    before, marked, after = line[:start], line[start : start + span.length], line[start + span.length :]
    if len(line) > room or _cells(line) > room:
        marked = _fit(marked, room * 2 // 3)
        before = _fit(before[::-1], room - _cells(marked) - min(len(after), room // 4))[::-1]
        after = _fit(after, room - _cells(before) - _cells(marked))
    before, marked, after = clean(before), clean(marked), clean(after)
    yield f"  {number} | {before}{marked}{after}".rstrip()
    under = f"  {' ' * len(number)} | {' ' * _cells(before)}{'^' * max(1, _cells(marked))}"
    beside = f"{under} {clean(culprit.label)}".rstrip()
    if len(beside) <= page.width:
        yield beside
    else:
        yield from (under, page.wrap(culprit.label, indent=5))


def _fit(text: str, room: int) -> str:
    """The text, or as much of its start as fits, with `...` for the rest."""
    kept = clean(text[: room + 1])
    if len(kept) == len(text) and _cells(kept) <= room:
        return kept
    while kept and _cells(kept) > room - 3:
        kept = kept[:-1]
    return kept + "..."


def _cells(text: str) -> int:
    """How many columns of a terminal a text takes: wide letters two, marks set on another letter none."""
    return sum(0 if combining(c) else 2 if east_asian_width(c) in "WF" else 1 for c in text)
