"""The one message type: everything a user must know about a problem, as data."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ..model.record import dataclass, field
from ..model.span import Span

ENOUGH = 100


@dataclass(frozen=True, slots=True)
class Culprit:
    """A place that has a part in the problem, and what it has to do with it."""

    span: Span
    label: str = ""


@dataclass(frozen=True, slots=True)
class Message:
    """A problem: code, what is wrong, every culprit, the nearest valid name, and the next step.

    `level` is error, warning or note. The first culprit is where the user should look first.
    """

    code: str
    text: str
    culprits: tuple[Culprit, ...] = ()
    nearest: str = ""
    next_step: str = ""
    level: str = "error"


@dataclass(slots=True)
class Messages:
    """Collects the messages of one run together with the lines they point at."""

    items: list[Message] = field(default_factory=list)
    lines: dict[str, list[str]] = field(default_factory=dict)
    _seen: set[Message] = field(default_factory=set, repr=False)

    def add(
        self,
        code: str,
        text: str,
        *spans: Span | Culprit,
        nearest: str = "",
        next_step: str = "",
        level: str = "error",
    ) -> None:
        """Add a message; bare spans become culprits without a label."""
        culprits = tuple(s if isinstance(s, Culprit) else Culprit(s) for s in spans)
        self.extend((Message(code, text, culprits, nearest, next_step, level),))

    def __iter__(self) -> Iterator[Message]:
        return iter(self.items)

    @property
    def enough(self) -> bool:
        """True once nobody would read more: what costs time, as looking for the nearest name, is left out."""
        return len(self.items) >= ENOUGH

    @property
    def errors(self) -> list[Message]:
        """Only what makes the input unusable."""
        return [m for m in self.items if m.level == "error"]

    def extend(self, others: Iterable[Message]) -> None:
        """Take over messages found elsewhere."""
        for message in others:
            if message not in self._seen:
                self._seen.add(message)
                self.items.append(message)


class InputError(Exception):
    """The input cannot be used; the messages say why. The command line exits with 2."""

    def __init__(self, messages: Messages) -> None:
        super().__init__("; ".join(f"{m.code}: {m.text}" for m in messages.errors) or "wrong input")
        self.messages = messages


class InferenceFault(Exception):
    """The two engines disagree, or one broke: there is no plan. The command line exits with 3."""

    def __init__(self, text: str, alternative: str = "", detail: str = "") -> None:
        super().__init__(text)
        self.text, self.alternative, self.detail = text, alternative, detail
