"""How far a reading has moved since an earlier one on the same vehicle, and what that means."""

from __future__ import annotations

from .figures import say
from .reading import Limit, Reading
from .verdict import Outcome, judge


def drift(earlier: Reading, present: Reading, limit: Limit | None, what: str, since: str) -> str:
    """One plain sentence on the shift, present minus earlier in the present unit."""
    before = earlier.to(present.unit)
    shift = present.centre - before.centre
    signed = f"+{say(shift)}" if shift > 0 else say(shift)
    moved = f"the {what} moved by {signed} {present.unit} since {since} ({before}, now {present})"
    return f"{moved}: {_meaning(present.apart(before), judge(present, limit).outcome)}"


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
