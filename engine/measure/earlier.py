"""The latest earlier reading in the log that the present one can be compared with."""

from __future__ import annotations

from ..load.log import in_time_order
from ..model.case import Case, Entry
from ..model.catalogue import Operation
from ..model.places import meets
from ..model.program import Program
from .figures import ReadingError
from .reading import Reading
from .taken import short, take
from .units import unit

# after one of these the reading starts from a new zero, so what was read before it shows no drift
_NEW_ZERO = ("zero calibration", "initialisation", "replacement", "static calibration", "dynamic calibration")


def earlier_reading(
    entry: Entry, name: str, like: Reading, case: Case, program: Program
) -> tuple[Reading, str] | None:
    """The reading of that name taken last before this entry by the same kind of check, and its day."""
    own, found = program.operations[entry.did], None
    for other in in_time_order(case.log):
        if other.span == entry.span:
            break
        if not other.did or not meets(other.place, entry.place):
            continue
        operation = program.operations[other.did]
        if (
            operation.kind in _NEW_ZERO
            and other.result != "fail"
            and set(operation.systems) & set(own.systems)
        ):
            found = None
        elif _alike(operation, own):
            taken = _named(other, name)
            if taken is not None and unit(taken.unit).kind == unit(like.unit).kind:
                found = taken, f"the reading of {other.at[:10]}"
    return found


def _alike(other: Operation, own: Operation) -> bool:
    return other.id == own.id or (
        bool(own.systems) and other.kind == own.kind and set(other.systems) == set(own.systems)
    )


def _named(entry: Entry, name: str) -> Reading | None:
    for written, raw in entry.readings.items():
        if short(written) == name and isinstance(raw, dict) and "unit" in raw:
            try:
                return take(raw)
            except ReadingError:
                return None  # the message is given for that entry itself
    return None
