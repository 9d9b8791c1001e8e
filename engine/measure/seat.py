"""The seat sensor sensitivity check: empty, reference weights, empty again.

Computes figures and verdicts; `seat_pattern` says what they look like. Which operations
follow is for the rules.
"""

from __future__ import annotations

from ..model.record import dataclass
from .drift import Drift, drift
from .figures import ReadingError, say
from .reading import Limit, Reading, Uncertainty
from .seat_pattern import Pattern, calls_for, curable, hidden_gain, patterns
from .units import convert_difference, unit
from .verdict import Judgement, Outcome, judge
from .weights import ReferenceWeight, Stack, stack


@dataclass(frozen=True, slots=True)
class LoadStep:
    """One load: the weights placed, what the tool then displayed, and the band the procedure accepts."""

    weights: tuple[ReferenceWeight, ...]
    reading: Reading
    band: Limit | None


@dataclass(frozen=True, slots=True)
class SeatCheck:
    """A check as it was taken. A step that was not done is left out and makes the check incomplete."""

    empty: Reading
    empty_limit: Limit | None
    loads: tuple[LoadStep, ...] = ()
    returned: Reading | None = None
    return_limit: Limit | None = None  # None: the empty limit holds for the return as well
    earlier: Reading | None = None
    since: str = "the earlier reading"
    uncertainty: Uncertainty | None = None


@dataclass(frozen=True, slots=True)
class LoadFinding:
    """One load in the displayed unit; `placed` and what rests on it are None for a display in counts.

    `error` is displayed minus placed; `span_error` is the same with the zero offset taken off.
    `weight_share` is the worst tolerance of the weights as a share of the band's half width.
    """

    judgement: Judgement
    placed: Stack | None
    net: float
    error: float | None
    span_error: float | None
    span_percent: float | None
    weight_share: float | None


@dataclass(frozen=True, slots=True)
class SeatFinding:
    """The whole check: figures in `unit`, one verdict, what it looks like and what it calls for."""

    outcome: Outcome
    reason: str
    unit: str
    zero_offset: float
    empty: Judgement
    loads: tuple[LoadFinding, ...]
    returned: Judgement | None
    return_error: float | None
    drift: Drift | None
    patterns: tuple[Pattern, ...]
    zero_can_cure: bool | None
    calls_for: tuple[str, ...]
    notes: tuple[str, ...]


def assess(check: SeatCheck) -> SeatFinding:
    """Work out one seat sensor sensitivity check."""
    display = check.empty.unit
    _same_display(check)
    offset = check.empty.centre
    empty = judge(check.empty, check.empty_limit, check.uncertainty)
    loads = tuple(_load(step, display, offset, check.uncertainty) for step in check.loads)
    returned = back = None
    if check.returned is not None:
        returned = judge(check.returned, check.return_limit or check.empty_limit, check.uncertainty)
        back = check.returned.to(display)
    moved = None
    if check.earlier is not None:
        moved = drift(check.earlier, check.empty, check.empty_limit, what="empty reading", since=check.since)
    shape = patterns(check.empty, empty, tuple(load.judgement for load in loads), back, returned)
    outcome, reasons, missing = _overall(empty, loads, returned)
    return SeatFinding(
        outcome=outcome,
        reason="; ".join(reasons),
        unit=display,
        zero_offset=offset,
        empty=empty,
        loads=loads,
        returned=returned,
        return_error=None if back is None else back.centre - offset,
        drift=moved,
        patterns=shape,
        zero_can_cure=curable(shape),
        calls_for=calls_for(outcome, shape, missing),
        notes=_notes(check, loads, moved, outcome),
    )


def _same_display(check: SeatCheck) -> None:
    """All steps must come from one display: counts beside kilograms cannot be subtracted."""
    kind = unit(check.empty.unit).kind
    others = [step.reading for step in check.loads] + [
        r for r in (check.returned, check.earlier) if r is not None
    ]
    for reading in others:
        if unit(reading.unit).kind != kind:
            raise ReadingError(
                f"the empty reading is in {check.empty.unit} and another step in {reading.unit}",
                "set the tool to one unit and take every step of the check in it",
            )


def _load(step: LoadStep, display: str, offset: float, uncertainty: Uncertainty | None) -> LoadFinding:
    verdict = judge(step.reading, step.band, uncertainty)
    shown = step.reading.to(display).centre
    if unit(display).kind != "mass":
        return LoadFinding(verdict, None, shown - offset, None, None, None, None)
    placed = stack(step.weights, display)
    span = shown - offset - placed.mass
    return LoadFinding(
        judgement=verdict,
        placed=placed,
        net=shown - offset,
        error=shown - placed.mass,
        span_error=span,
        span_percent=100 * span / placed.mass,
        weight_share=_share(placed, step.band),
    )


def _share(placed: Stack, band: Limit | None) -> float | None:
    if placed.worst is None or band is None or band.low is None or band.high is None or band.low == band.high:
        return None
    return placed.worst / convert_difference((band.high - band.low) / 2, band.unit, placed.unit)


def _overall(
    empty: Judgement, loads: tuple[LoadFinding, ...], returned: Judgement | None
) -> tuple[Outcome, tuple[str, ...], tuple[str, ...]]:
    """The verdict, why, and the next steps still open; a step left out can never be within."""
    named = [("empty", empty), *((f"load {i}", load.judgement) for i, load in enumerate(loads, 1))]
    named += [("return to empty", returned)] if returned is not None else []
    missing = [] if loads else ["place the reference weights as the procedure shows and record the range"]
    missing += [] if returned is not None else ["take the weights off and record the empty range again"]
    outside = tuple(f"{step}: {v.reason}" for step, v in named if v.outcome is Outcome.OUTSIDE)
    unsettled = [
        (f"{step}: {v.reason}", v.next_step) for step, v in named if v.outcome is Outcome.NOT_CONCLUSIVE
    ]
    steps = tuple(dict.fromkeys([*missing, *(step for _, step in unsettled)]))
    if outside:
        return Outcome.OUTSIDE, outside, steps
    if steps:
        reasons = [reason for reason, _ in unsettled] + (["the check is incomplete"] if missing else [])
        return Outcome.NOT_CONCLUSIVE, tuple(reasons), steps
    return Outcome.WITHIN, ("empty, every load and return to empty are within their limits",), ()


def _notes(
    check: SeatCheck, loads: tuple[LoadFinding, ...], moved: Drift | None, outcome: Outcome
) -> tuple[str, ...]:
    notes = [] if moved is None else [moved.sentence]
    for number, load in enumerate(loads, 1):
        if load.placed is None:
            notes.append(f"load {number}: the display is in {check.empty.unit}, which gives no span error")
            continue
        if load.placed.worst is None:
            notes.append(f"load {number}: the tolerance of the weights is not known: use marked ones")
        else:
            worst = f"{say(load.placed.worst, 2)} {load.placed.unit}"
            notes.append(f"load {number}: {say(load.placed.mass)} {load.placed.unit} placed, within {worst}")
    if outcome is Outcome.WITHIN:
        notes += hidden_gain(check.empty, tuple(load.judgement for load in loads))
    return tuple(notes)
