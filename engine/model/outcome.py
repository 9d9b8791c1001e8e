"""What inference leaves behind: records and the firings that made them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from .record import dataclass


class Record(NamedTuple):
    """A typed record: kind, subject, place, and for a part-to-system record the system."""

    kind: str
    subject: str
    place: str = ""
    system: str = ""


class Firing(NamedTuple):
    """One match of one alternative: the records its record patterns met, in order."""

    alternative: str
    records: tuple[Record, ...]


FIRM, PROVISIONAL, POSSIBLE = "firm", "provisional", "possible"
STANDINGS = (FIRM, PROVISIONAL, POSSIBLE)
BIT = {FIRM: 1, PROVISIONAL: 2, POSSIBLE: 4}  # a set of passes as a mask
ALL = 7
OPPOSITE = {FIRM: POSSIBLE, PROVISIONAL: PROVISIONAL, POSSIBLE: FIRM}
# a mask as the opposite passes see it: firm and possible look at each other
ACROSS = (0, 4, 2, 6, 1, 5, 3, 7)


@dataclass(frozen=True, slots=True)
class Fixpoint:
    """One pass: its firings in the order found, and every record they made."""

    firings: tuple[Firing, ...]
    made: frozenset[Record]


@dataclass(frozen=True, slots=True)
class Outcome:
    """The three passes over one case and the engines that agreed on them."""

    passes: Mapping[str, Fixpoint]
    engines: tuple[str, ...]
    contradictions: tuple[str, ...] = ()

    def __getitem__(self, standing: str) -> Fixpoint:
        return self.passes[standing]
