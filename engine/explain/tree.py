"""The whole proof of a line: from the line through every concluded fact to what was observed or assumed."""

from __future__ import annotations

from collections.abc import Iterator

from ..model.outcome import PROVISIONAL, Firing, Record
from ..model.plan import FactSeen, Support
from ..model.record import dataclass
from .facts import MADE, Evidence, record_slot

DEEPEST = 12


@dataclass(frozen=True, slots=True)
class Proof:
    """A record, and for each rule that makes it the support and the proofs of what that support rests on.

    Matches of one rule are one support with the facts of all of them, as on the plan.
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
    supports: dict[tuple[str, str], tuple[Support, dict[FactSeen, None], dict[Record, Proof]]] = {}
    makers = evidence.found.strengths[standing].makers
    for firing in makers.get(record, ()):
        support = evidence.support(firing, standing)
        _, leaves, below = supports.setdefault((support.rule, support.strength), (support, {}, {}))
        leaves |= dict.fromkeys(_leaves(evidence, firing))
        for made in firing.records:
            by_law = made in makers and evidence.case.state(record_slot(made)).known is None
            if (made.kind in MADE or by_law) and made not in below:
                below[made] = _proof(evidence, made, standing, seen, depth + 1)
    found = tuple(
        (support, tuple(leaves), tuple(below.values())) for support, leaves, below in supports.values()
    )
    return Proof(record, title, found)


def _leaves(evidence: Evidence, firing: Firing) -> Iterator[FactSeen]:
    """The observed and assumed facts of a firing; what was concluded is unfolded below it."""
    return (f for f in evidence.facts(firing) if f.origin != "derived")
