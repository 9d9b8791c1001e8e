"""One log entry's readings, piece by piece: which maths applies, figures, verdict and what to do next.

The shape of a reading decides: placed weights make a seat check, a known resistor an isolation test, named
points a film measurement. Holds no limit of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

from ..load.slots import patterns
from ..model.case import Case, Entry
from ..model.plan import ReadingSeen
from ..model.program import Program
from ..model.record import dataclass, replace
from . import film, geometry, isolation, seat
from .code_status import CONFIRMED, Scan, Status, present, scan
from .drift import drift
from .earlier import earlier_reading
from .figures import ReadingError, nearest, say
from .reading import Limit, Reading
from .seat_pattern import shape_word
from .taken import Raw, codes_of, limit, short, take, uncertainty, weights
from .units import convert
from .verdict import Judgement, Outcome, judge

RECORDED = "recorded"  # kept on file; nothing to judge it by


@dataclass(frozen=True, slots=True)
class Part:
    """One judged piece of an entry. `silent` is true when only a missing limit keeps it from a verdict.

    `shape` is how a seat check is off, as rules know it; '' when nothing tells.
    """

    outcome: Outcome | None
    seen: tuple[ReadingSeen, ...] = ()
    remarks: tuple[str, ...] = ()
    silent: bool = False
    shape: str = ""


@dataclass(frozen=True, slots=True)
class Taken:
    """An entry's readings under their short names, and where to look their limits up."""

    entry: Entry
    case: Case
    program: Program
    raw: Mapping[str, Raw]

    @classmethod
    def of(cls, entry: Entry, case: Case, program: Program) -> Taken:
        """The readings of an entry; ReadingError when one is there under two names."""
        names = [short(name) for name in entry.readings]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice:
            raise ReadingError(f"`{twice}` is given twice", "keep one, or give the second a name of its own")
        raw = dict(zip(names, entry.readings.values(), strict=True))
        return cls(entry, case, program, raw)  # type: ignore[arg-type]

    def limit(self, name: str) -> Limit | None:
        """The limit on file for a reading."""
        return limit(self.case, self.program, self.entry.did, name)

    def earlier(self, name: str, like: Reading) -> tuple[Reading, str] | None:
        """The reading it can be compared with."""
        return earlier_reading(self.entry, name, like, self.case, self.program)

    def asked(self) -> dict[str, str]:
        """What the operation wants on record, by short name, with where its limit comes from."""
        return {short(r.name): r.limit for r in self.program.operations[self.entry.did].record}


def parts_of(taken: Taken) -> Iterable[Part]:
    """Every judged piece. ReadingError when a figure, unit or limit cannot be used."""
    raw = taken.raw
    if "codes" in raw:
        yield _codes(taken)
    if "isolation" in raw and "unit" not in raw["isolation"]:
        yield _isolation(taken)
    if "film" in raw and "unit" not in raw["film"]:
        yield _film(taken)
    if "rear toe" in raw:
        toe = raw["rear toe"]
        yield _thrust("thrust", geometry.thrust_from_toe(toe["left"], toe["right"], toe["unit"]), {}, taken)
    plain = {n: r for n, r in raw.items() if n != "rear toe" and isinstance(r, Mapping) and "unit" in r}
    steps = _seat_steps(plain, taken)
    if steps:
        yield _seat(steps, taken)
    for name, reading in plain.items():
        if name == "thrust":
            yield _thrust(name, take(reading), reading, taken)
        elif name not in steps:
            yield _plain(name, reading, taken, bool(steps))


def _plain(name: str, raw: Raw, taken: Taken, beside: bool) -> Part:
    """A reading by itself. Without a limit, one that needs none or stands beside a check is only kept."""
    reading, bound = take(raw), taken.limit(name)
    verdict = judge(reading, bound, uncertainty(raw))
    before = taken.earlier(name, reading)
    seen = _seen(name, verdict, raw, before and before[0])
    needless = taken.asked().get(name, "procedure") == ""
    if bound is None and (beside or needless):
        return Part(None, (replace(seen, verdict=RECORDED, reason="", next_step=""),))
    remarks = [f"{name}: {verdict.next_step}"] if verdict.outcome is not Outcome.WITHIN else []
    if before is not None and taken.program.operations[taken.entry.did].kind == "sensitivity check":
        remarks.insert(0, drift(before[0], reading, bound, what=f"{name} reading", since=before[1]).sentence)
    return Part(verdict.outcome, (seen,), tuple(remarks), bound is None)


def _seat_steps(plain: dict[str, Raw], taken: Taken) -> dict[str, Raw]:
    """The steps of a seat check: placed weights make it one, or an operation that asks for them."""
    loaded = [name for name, raw in plain.items() if "weights" in raw or name == "loaded"]
    if "empty" not in plain or not (loaded or "loaded" in taken.asked()):
        return {}
    return {name: raw for name, raw in plain.items() if name in ("empty", "returned", *loaded)}


def _seat(steps: dict[str, Raw], taken: Taken) -> Part:
    empty, loads = take(steps["empty"]), [n for n in steps if n not in ("empty", "returned")]
    before, since = taken.earlier("empty", empty) or (None, "")
    check = seat.SeatCheck(
        empty,
        taken.limit("empty"),
        tuple(seat.LoadStep(weights(steps[n]), take(steps[n]), taken.limit(n)) for n in loads),
        take(steps["returned"]) if "returned" in steps else None,
        taken.limit("returned"),
        before,
        since,
        next((u for u in map(uncertainty, steps.values()) if u), None),
    )
    found = seat.assess(check)
    judged = {"empty": found.empty, **dict(zip(loads, (f.judgement for f in found.loads), strict=True))}
    if found.returned is not None:
        judged["returned"] = found.returned
    seen = tuple(
        _seen(name, verdict, steps[name], before if name == "empty" else None)
        for name, verdict in judged.items()
    )
    shape = [f"it looks like: {', '.join(found.patterns)}"] if found.patterns else []
    figures = [
        f"{name}: {say(f.error, 4)} {found.unit} from what was placed, of which {say(found.zero_offset, 4)} "
        f"is zero offset and {say(f.span_error, 3)} ({say(f.span_percent, 3)} %) span"
        for name, f in zip(loads, found.loads, strict=True)
        if f.error is not None and f.span_error is not None and f.span_percent is not None
    ]
    if found.return_error is not None:
        figures.append(
            f"back to empty within {say(abs(found.return_error), 3)} {found.unit} of the first empty reading"
        )
    open_ = [v for v in judged.values() if v.outcome is Outcome.NOT_CONCLUSIVE]
    silent = bool(loads) and found.returned is not None and all(v.limit is None for v in open_)
    remarks = (*found.notes, *shape, *figures, *found.calls_for)
    return Part(found.outcome, seen, remarks, silent, shape_word(found.patterns))


def _isolation(taken: Taken) -> Part:
    raw = taken.raw["isolation"]
    volt = {
        n: convert(raw[n]["value"], raw[n]["unit"], "V")
        for n in ("vb", "v1", "v2", "with_resistor", "nominal")
    }
    better = "v1_with" if volt["v1"] >= volt["v2"] else "v2_with"
    ohm = convert(raw["resistor"]["value"], raw["resistor"]["unit"], "ohm")
    bound = taken.limit("isolation")
    whole = taken.limit("insulation resistance") if bound is None else None
    test = isolation.IsolationTest(
        volt["vb"], volt["v1"], volt["v2"], ohm, volt["nominal"], **{better: volt["with_resistor"]}
    )
    found = isolation.assess(test, bound)
    verdict = found.judgement if whole is None else judge(Reading.single(found.ohm, "ohm"), whole)
    remarks = [
        f"isolation {say(found.ohm, 4)} ohm, {say(found.ohm_per_volt, 4)} ohm/V; weaker side: {found.weaker}",
        *found.cautions,
    ]
    if verdict.outcome is not Outcome.WITHIN:
        remarks.append(f"isolation: {verdict.next_step}")
    seen = _seen("isolation", verdict, {}, None)
    return Part(verdict.outcome, (seen,), tuple(remarks), verdict.limit is None)


def _film(taken: Taken) -> Part:
    raw, bound = taken.raw["film"], taken.limit("film")
    points = tuple(film.FilmPoint(name, take(r)) for name, r in raw.items())
    found = film.assess(points, bound, next((u for u in map(uncertainty, raw.values()) if u), None))
    mean, worst = f"{say(found.mean, 4)} {found.unit}", found.worst
    remarks = [f"film: mean {mean} over {len(points)} points; worst point {worst.name}, {worst.reading}"]
    if found.outcome is not Outcome.WITHIN:
        remarks.append(f"film: {found.reason}; {found.next_step}")
    seen = tuple(
        _seen(f"film, {point.name}", verdict, raw[point.name], None) for point, verdict in found.points
    )
    return Part(found.outcome, seen, tuple(remarks), bound is None)


def _thrust(name: str, reading: Reading, raw: Raw, taken: Taken) -> Part:
    bound = taken.limit(name)
    found = geometry.assess(reading, bound, uncertainty(raw))
    before = taken.earlier(name, reading)
    seen = _seen(name, found.judgement, raw, before and before[0])
    return Part(found.judgement.outcome, (seen,), (found.note,), bound is None)


def _codes(taken: Taken) -> Part:
    """Trouble codes. Where no rule acts on a failed result, they are what the scan was for."""
    found = codes_of(taken.entry)
    for _, _, system in found:
        if system and system not in taken.program.systems:
            near = nearest(system, tuple(taken.program.systems))
            step = f"did you mean {near}?" if near else "leave it out"
            raise ReadingError(f"no system is called `{system}`", step)
    remarks = [
        f"{c} ({c.group}; meaning set by: {c.defined_by})" + (f": {status.state}" if status else "")
        for c, status, _ in found
    ]
    odd = [(c, pair) for c, status, _ in found if status for pair in status.contradictions]
    remarks += [f"{c}: {pair} cannot be set together: read it again" for c, pair in odd]
    if any(present(status) and not system for _, status, system in found):
        remarks.append("name the system of each code, so that the plan can hold what must wait for it")
    if taken.entry.did not in _must_be_clean(taken.program):
        return Part(None, (), tuple(remarks))
    proved = scan(s if s is not None else Status(CONFIRMED) for _, s, _ in found)
    if proved is Scan.NOT_CONCLUSIVE and found:
        remarks.append("not every test has run since the codes were cleared: let them run and scan again")
    outcome = {Scan.CODES: Outcome.OUTSIDE, Scan.CLEAR: Outcome.WITHIN}.get(proved, Outcome.NOT_CONCLUSIVE)
    return Part(outcome, (), tuple(remarks), silent=not found)


@lru_cache(maxsize=16)
def _must_be_clean(program: Program) -> frozenset[str]:
    """The operations on whose failed result some rule acts."""
    failed = (
        p.subjects for p in patterns(program) if p.kind == "result" and p.test and "fail" in p.test.values
    )
    return frozenset(operation for subjects in failed for operation in subjects)


def _seen(name: str, verdict: Judgement, raw: Raw, before: Reading | None) -> ReadingSeen:
    reading, bound = verdict.reading, verdict.limit
    stated = uncertainty(raw)
    earlier = None if before is None else before.to(reading.unit)
    return ReadingSeen(
        name=name,
        low=reading.lowest,
        high=reading.highest,
        count=reading.count or 0,
        unit=reading.unit,
        limit_low=None if bound is None else bound.low,
        limit_high=None if bound is None else bound.high,
        limit_from="" if bound is None else bound.source,
        verdict=str(verdict.outcome),
        reason=verdict.reason,
        next_step=verdict.next_step,
        earlier_low=None if earlier is None else earlier.lowest,
        earlier_high=None if earlier is None else earlier.highest,
        uncertainty=None if stated is None else stated.to(reading.unit).expanded,
    )
