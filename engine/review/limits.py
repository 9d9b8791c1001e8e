"""Limits of a pack that could never judge a reading: impossible figures, another kind of unit, a name nobody records."""

from __future__ import annotations

from collections.abc import Iterator

from ..diagnostics.message import Culprit, Message
from ..diagnostics.nearest import nearest
from ..measure.figures import ReadingError
from ..measure.taken import as_limit, short
from ..measure.units import unit
from ..model.catalogue import Operation
from ..model.program import Program
from ..model.span import Span


def limits(program: Program) -> Iterator[Message]:
    """Every limit that is wrong by itself, or that no reading of its operation will ever meet."""
    for id_, named in program.limits.items():
        for name, raw in named.items():
            at = program.limit_spans[id_][name]
            try:
                as_limit(raw, "the pack")
            except ReadingError as error:
                yield Message("KN403", error.cause, (Culprit(at),), next_step=error.next_step)
                continue
            yield from _unmet(program.operations[id_], name, str(raw["unit"]), at)


def _unmet(operation: Operation, name: str, written: str, at: Span) -> Iterator[Message]:
    """Nothing is refused when a reading is entered without its limit: the misspelt limit would just be silent."""
    recorded = {short(reading.name): reading for reading in operation.record}
    reading = recorded.get(short(name))
    where = (Culprit(at), Culprit(operation.span, "the operation"))
    if reading is None:
        names = ", ".join(f"`{r.name}`" for r in operation.record) or "no reading at all"
        text = f"`{operation.id}` records no `{name}`, so this limit judges nothing"
        step = f"name one of: {names}" if operation.record else "give the operation a `record`"
        close = nearest(name, [r.name for r in operation.record] + list(recorded))
        yield Message("KN404", text, where, close, step)
    elif reading.unit and unit(written).kind != unit(reading.unit).kind:
        text = f"`{reading.name}` of `{operation.id}` is read in {reading.unit}, its limit is in {written}"
        yield Message("KN404", text, where, next_step=f"write the limit in {reading.unit}")
