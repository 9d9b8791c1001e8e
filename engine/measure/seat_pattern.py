"""What a seat check out of tolerance looks like: offset, gain error, or a reading that does not come back.

A zero calibration moves every reading by the same amount. So the test is: take the zero offset off, and see
whether what was outside its limits is then within. It is a diagnosis, not the verdict.
"""

from __future__ import annotations

from enum import StrEnum

from .reading import Reading
from .units import convert_difference
from .verdict import Judgement, Outcome, judge


class Pattern(StrEnum):
    """Shapes of error, named for what a technician does about them."""

    OFFSET = "offset"
    GAIN = "gain or bent frame"
    RETURN = "does not return to zero"
    UNCLEAR = "not clear"


def patterns(
    empty: Reading,
    at_empty: Judgement,
    loads: tuple[Judgement, ...],
    back: Reading | None,
    returned: Judgement | None,
) -> tuple[Pattern, ...]:
    """Every shape the readings show beyond their limits, in a fixed order; empty when nothing is outside."""
    found = set()
    if at_empty.outcome is Outcome.OUTSIDE:
        found.add(Pattern.OFFSET)
    for load in loads:
        if load.outcome is Outcome.OUTSIDE:
            found.add(_of_load(load, empty))
    if back is not None and returned is not None and returned.outcome is Outcome.OUTSIDE:
        apart = back.lowest > empty.highest or back.highest < empty.lowest
        found.add(Pattern.RETURN if apart else Pattern.OFFSET)
    elif back is not None and Pattern.OFFSET in found and _moved_back(empty, back, returned):
        found.add(Pattern.RETURN)
    return tuple(shape for shape in Pattern if shape in found)


def _moved_back(empty: Reading, back: Reading, returned: Judgement | None) -> bool:
    """Out before the load and within after it, with no overlap: the load itself moved the zero."""
    within = returned is not None and returned.outcome is Outcome.WITHIN
    return within and (back.lowest > empty.highest or back.highest < empty.lowest)


def _without_offset(load: Judgement, empty: Reading) -> Outcome:
    """The verdict on this load as it would be with the zero offset gone."""
    offset = convert_difference(empty.centre, empty.unit, load.reading.unit)
    return judge(load.reading.shifted(-offset), load.limit).outcome


def _of_load(load: Judgement, empty: Reading) -> Pattern:
    after = _without_offset(load, empty)
    if after is Outcome.WITHIN:
        return Pattern.OFFSET
    return Pattern.GAIN if after is Outcome.OUTSIDE else Pattern.UNCLEAR


def hidden_gain(empty: Reading, loads: tuple[Judgement, ...]) -> list[str]:
    """Warn where an offset happens to make up for a gain error, so that zeroing would bring it to light."""
    return [
        f"load {number} is within only together with the zero offset and would be outside without it, "
        "so a zero calibration must be followed by the weights again"
        for number, load in enumerate(loads, 1)
        if load.limit is not None and _without_offset(load, empty) is Outcome.OUTSIDE
    ]


_WORDS = {
    frozenset((Pattern.OFFSET,)): "zero",
    frozenset((Pattern.GAIN,)): "gain",
    frozenset((Pattern.OFFSET, Pattern.GAIN)): "both",
}


def shape_word(shape: tuple[Pattern, ...]) -> str:
    """The shape as rules know it: zero, gain, both or no_return; '' when the readings do not tell."""
    if Pattern.RETURN in shape:
        return "no_return"
    return _WORDS.get(frozenset(shape), "")


def curable(shape: tuple[Pattern, ...]) -> bool | None:
    """Whether a zero calibration can cure it; None when nothing is wrong or the shape is not clear."""
    if Pattern.GAIN in shape or Pattern.RETURN in shape:
        return False
    return True if shape == (Pattern.OFFSET,) else None


_CURES = {
    Pattern.OFFSET: (
        "make sure that nothing lies on, under or against the seat and nobody is aboard, and read it again",
        "zero calibration as the repair procedure describes, then the whole check again with the weights",
    ),
    Pattern.GAIN: (
        "inspect seat frame, tracks, floor mounts, fastener torque and sensors: a zero calibration moves the "
        "offset only and cannot cure a gain error",
    ),
    Pattern.RETURN: (
        "look for what binds: something wedged under the seat, harness, trim or a tight cover, a bent track; "
        "then take the whole check again",
    ),
    Pattern.UNCLEAR: ("let the reading settle and take the whole check again with more readings",),
}


def calls_for(outcome: Outcome, shape: tuple[Pattern, ...], steps: tuple[str, ...]) -> tuple[str, ...]:
    """What the result asks of the technician, in the order to do it."""
    if outcome is Outcome.WITHIN:
        return (
            "the required check is done: record lowest, highest and count of each step",
            "zero calibration is not required by this result; the repair procedure may still ask for it",
        )
    # an offset may be zeroed only when nothing is found that zeroing would hide
    order = shape if curable(shape) else tuple(s for s in shape if s is not Pattern.OFFSET)
    cures = tuple(line for pattern in order for line in _CURES[pattern])
    if Pattern.OFFSET in shape and order != shape:
        cures += ("no zero calibration before that is found and put right",)
    return cures + steps
