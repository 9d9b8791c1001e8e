"""The whole proof of a line: from the line through every concluded fact to what was observed or assumed."""

from __future__ import annotations

from dataclasses import dataclass

from ..model.outcome import PROVISIONAL, Firing, Record
from ..model.plan import FactSeen, Support
from .facts import Evidence

MADE = ("derived", "severity", "planned")
DEEPEST = 12


@dataclass(frozen=True, slots=True)
class Proof:
    """A record, and for each rule that makes it the support and the proofs of what that support rests on.

    `again` marks a record already unfolded above or earlier, so it is not printed twice.
    """

    record: Record
    title: str
    supports: tuple[tuple[Support, tuple[FactSeen, ...], tuple[Proof, ...]], ...]
    again: bool = False


def proof(evidence: Evidence, record: Record, standing: str = PROVISIONAL) -> Proof:
    """The proof of a made record in one standing."""
    return _proof(evidence, record, standing, set(), 0)


def _proof(evidence: Evidence, record: Record, standing: str, seen: set[Record], depth: int) -> Proof:
    title = evidence.record_seen(record).title
    if record in seen or depth > DEEPEST:
        return Proof(record, title, (), again=True)
    seen.add(record)
    supports = []
    for firing in evidence.found.strengths[standing].makers.get(record, ()):
        below = tuple(
            _proof(evidence, r, standing, seen, depth + 1) for r in firing.records if r.kind in MADE
        )
        supports.append((evidence.support(firing, standing), _leaves(evidence, firing), below))
    return Proof(record, title, tuple(supports))


def _leaves(evidence: Evidence, firing: Firing) -> tuple[FactSeen, ...]:
    """The observed and assumed facts of a firing; what was concluded is unfolded below it."""
    return tuple(f for f in evidence.facts(firing) if f.origin != "derived")


