"""How far a reading has moved since an earlier one on the same vehicle, and what that means."""

from __future__ import annotations

from ..model.record import dataclass
from .figures import say
from .reading import Limit, Reading
from .verdict import Outcome, judge


@dataclass(frozen=True, slots=True)
class Drift:
    """Present minus earlier, in the present unit; `clear` when the two ranges do not overlap."""

    earlier: Reading
    present: Reading
    shift: float
    least: float
    most: float
    clear: bool
    outcome: Outcome
    sentence: str


def drift(
    earlier: Reading,
    present: Reading,
    limit: Limit | None,
    *,
    what: str = "reading",
    since: str = "the earlier one",
) -> Drift:
    """The shift between two readings and one plain sentence on it."""
    before = earlier.to(present.unit)
    shift = present.centre - before.centre
    clear = present.lowest > before.highest or present.highest < before.lowest
    outcome = judge(present, limit).outcome
    least, most = present.lowest - before.highest, present.highest - before.lowest
    moved = f"the {what} moved by {_signed(shift)} {present.unit} since {since} ({before}, now {present})"
    sentence = f"{moved}: {_meaning(clear, outcome)}"
    return Drift(before, present, shift, least, most, clear, outcome, sentence)


def _meaning(clear: bool, outcome: Outcome) -> str:
    if not clear:
        return "the two ranges overlap, so no shift is shown"
    if outcome is Outcome.WITHIN:
        return (
            "it has clearly shifted and is still within tolerance; the shift shows that the check was needed "
            "and asks for nothing more, since the present reading is what passes or fails: keep both ranges"
        )
    if outcome is Outcome.OUTSIDE:
        return "it has clearly shifted and is now out of tolerance"
    return "it has clearly shifted; whether it is within tolerance is not settled"


def _signed(value: float) -> str:
    return f"+{say(value)}" if value > 0 else say(value)
