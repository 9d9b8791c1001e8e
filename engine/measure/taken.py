"""From what a case file holds under `readings` and `limits` to checked readings, limits and weights."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from ..model.case import Case, Entry
from ..model.program import Program
from .code_status import Status
from .codes import Code, decode, decode3, parse
from .figures import ReadingError
from .reading import Limit, Reading, Uncertainty
from .weights import ReferenceWeight

Raw = Mapping[str, Any]
# the names operations ask for by, and the short ones people write
_SHORT: Final = {
    "empty reading": "empty",
    "reference weight reading": "loaded",
    "return to empty reading": "returned",
    "return": "returned",
    "film thickness": "film",
    "thrust angle": "thrust",
    "insulation resistance per volt": "isolation",
}


def short(name: str) -> str:
    """One name for one reading: `empty_reading` and `Empty reading` are `empty`."""
    plain = " ".join(name.lower().replace("_", " ").split())
    return _SHORT.get(plain, plain)


def take(raw: Raw) -> Reading:
    """A plain reading. ReadingError when its figures cannot be or say two things."""
    forms = [form for form in ("samples", "value", "low") if form in raw]
    if len(forms) != 1 or ("low" in raw) != ("high" in raw):
        raise ReadingError(
            "a reading is a range, samples or one value, and exactly one of them",
            "write {low: 1, high: 2, unit: kg}, {samples: [1, 2], unit: kg} or {value: 1, unit: kg}",
        )
    if "samples" in raw:
        taken = Reading.from_samples(raw["samples"], raw["unit"])
        if raw.get("count") not in (None, taken.count):
            raise ReadingError(f"{taken.count} samples, but a count of {raw['count']}", "leave the count out")
        return taken
    if "value" in raw:
        return Reading(raw["value"], raw["value"], raw.get("count", 1), raw["unit"])
    return Reading(raw["low"], raw["high"], raw.get("count"), raw["unit"])


def uncertainty(raw: Raw) -> Uncertainty | None:
    """The expanded uncertainty stated with a reading."""
    stated = raw.get("uncertainty")
    return None if stated is None else Uncertainty(stated["value"], stated["unit"], stated.get("k", 2.0))


def weights(raw: Raw) -> tuple[ReferenceWeight, ...]:
    """The reference weights placed for a reading; none when it was taken without."""
    placed = raw.get("weights")
    if placed is None:
        return ()
    kind = placed.get("class")
    return (ReferenceWeight(placed["nominal"], placed["unit"], placed.get("number", 1), kind),)


def limit(case: Case, program: Program, operation: str, name: str) -> Limit | None:
    """The limit of a reading: from the procedure the case names, else from a maker's pack."""
    looked_up = case.procedures.get(operation)
    if looked_up is not None:
        found = _named(looked_up.limits, name)
        if found is not None:
            return as_limit(found, " ".join(w for w in (looked_up.document, looked_up.version) if w))
    found = _named(program.limits.get(operation, {}), name)
    return None if found is None else as_limit(found, "the maker's pack")


def as_limit(raw: Raw, source: str) -> Limit:
    """A limit as written. ReadingError when it cannot be."""
    return Limit(raw.get("low"), raw.get("high"), raw["unit"], source, raw.get("minimum_count"))


def _named(limits: Mapping[str, Raw], name: str) -> Raw | None:
    return next((raw for written, raw in limits.items() if short(written) == short(name)), None)


def codes_of(entry: Entry) -> tuple[tuple[Code, Status | None, str], ...]:
    """The trouble codes of an entry: as read (bytes, or B16A1-23), status byte and system where known."""
    listed: Any = entry.readings.get("codes", ())
    return tuple((_code(raw["code"]), _status(raw.get("status")), raw.get("system", "")) for raw in listed)


def _code(written: object) -> Code:
    if isinstance(written, float):
        raise ReadingError(f"the code reads as the number {written:g}", 'put it in quotes: "96E123"')
    text = str(written).strip().upper().removeprefix("0X")
    if len(text) in (4, 6) and all(c in "0123456789ABCDEF" for c in text):
        return Code(decode(int(text, 16))) if len(text) == 4 else decode3(int(text, 16))
    return parse(text)


def _status(written: object) -> Status | None:
    if written is None:
        return None
    text = str(written).strip().upper()
    if not text.startswith("0X") and text.isdigit() and len(text) > 1:
        raise ReadingError(f"`{text}` may be decimal or hexadecimal", f"write the status byte as 0x{text}")
    try:
        return Status(int(text.removeprefix("0X"), 16))
    except ValueError:
        raise ReadingError(f"`{written}` is not a status byte", "write it as 0x2F") from None
