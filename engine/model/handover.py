"""Whether everything a plan asks for is documented, and what is missing."""

from __future__ import annotations

from .record import dataclass


@dataclass(frozen=True, slots=True)
class Documented:
    """A line that is closed: by a result that stands or by a waiver, in words."""

    line: str
    title: str
    how: str
    words: str


@dataclass(frozen=True, slots=True)
class Missing:
    """Something that keeps the vehicle: kind is open, held, failed, void, question or notice.

    `id` is a line, a question or empty; `who` can close it.
    """

    kind: str
    id: str
    title: str
    words: str
    who: str


@dataclass(frozen=True, slots=True)
class Handover:
    """The state of the papers. Says nothing of the vehicle itself."""

    case: str
    date: str
    documented: tuple[Documented, ...]
    missing: tuple[Missing, ...]

    @property
    def ready(self) -> bool:
        """True when nothing is missing."""
        return not self.missing
