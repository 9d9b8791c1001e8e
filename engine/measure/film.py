"""Film thickness over a radar: the mean over the cover, and the worst point, which decides.

The points are different places on the cover, not one figure that bounces: one thick spot is in the beam all
the same. So each point is judged by itself, and neither the mean nor the spread can excuse it.
"""

from __future__ import annotations

from statistics import fmean

from ..model.record import dataclass, replace
from .figures import ReadingError, say
from .reading import Limit, Reading, Uncertainty
from .units import unit
from .verdict import Judgement, Outcome, judge


@dataclass(frozen=True, slots=True)
class FilmPoint:
    """Where on the cover, and what the gauge showed there."""

    name: str
    reading: Reading


@dataclass(frozen=True, slots=True)
class FilmFinding:
    """Figures in `unit`; `worst` has the least margin, or is the thickest where no limit is on file."""

    outcome: Outcome
    reason: str
    next_step: str
    unit: str
    mean: float
    thickest: float
    worst: FilmPoint
    points: tuple[tuple[FilmPoint, Judgement], ...]


def assess(
    points: tuple[FilmPoint, ...], limit: Limit | None, uncertainty: Uncertainty | None = None
) -> FilmFinding:
    """Judge every point; `limit.min_count` is the number of points the procedure asks for."""
    _possible(points)
    shown = points[0].reading.unit if limit is None else limit.unit
    placed = tuple(FilmPoint(p.name, p.reading.to(shown)) for p in points)
    each = None if limit is None else replace(limit, min_count=None)
    judged = tuple((point, judge(point.reading, each, uncertainty)) for point in placed)
    worst, verdict = min(judged, key=lambda pair: (_margin(pair[1]), -pair[0].reading.highest, pair[0].name))
    outcome, reason, step = verdict.outcome, f"{worst.name}: {verdict.reason}", verdict.next_step
    outside = [point.name for point, v in judged if v.outcome is Outcome.OUTSIDE]
    wanted = None if limit is None else limit.min_count
    if outside:
        outcome, reason = Outcome.OUTSIDE, f"outside at {', '.join(outside)}; {reason}"
        step = "strip or replace the cover as the procedure says; calibrate no radar behind it as it is"
    elif wanted is not None and len(points) < wanted:
        outcome, reason = Outcome.NOT_CONCLUSIVE, f"too few points: {len(points)} of {wanted} measured"
        step = "measure the points left out, over the whole window the radar looks through"
    return FilmFinding(
        outcome,
        reason,
        step,
        shown,
        fmean(p.reading.centre for p in placed),
        max(p.reading.highest for p in placed),
        worst,
        judged,
    )


def _possible(points: tuple[FilmPoint, ...]) -> None:
    if not points:
        raise ReadingError("no point was measured", "measure over the whole window the radar looks through")
    names = [point.name for point in points]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ReadingError(f"the point {twice[0]} is given twice", "give each point a name of its own")
    for point in points:
        if unit(point.reading.unit).kind != "length":
            raise ReadingError(
                f"{point.name} is in {point.reading.unit}", "give the film thickness in µm or mil"
            )
        if point.reading.lowest < 0:
            raise ReadingError(
                f"{point.name} reads {say(point.reading.lowest)} {point.reading.unit}, which cannot be",
                "set the gauge to zero on the bare part and measure again",
            )


def _margin(verdict: Judgement) -> float:
    margins = [m for m in (verdict.margin_low, verdict.margin_high) if m is not None]
    return min(margins, default=0.0)
