"""Readings as a person types them on one line: `empty=-2.56..-2.25 lb x20`, `loaded=64 lb on 3x10 kg M1`."""

from __future__ import annotations

import re
from typing import Any

from .figures import ReadingError
from .units import unit

_NUMBER = r"[-+]?[0-9]+(?:\.[0-9]+)?"
_READING = re.compile(
    rf"(?P<low>{_NUMBER})(?:\.\.(?P<high>{_NUMBER})|(?P<more>(?:\s*,\s*{_NUMBER})+))?"
    r"\s*(?P<unit>[^\s\d,.+-]\S*)"
    r"(?:\s+x\s*(?P<count>[0-9]+))?"
    rf"(?:\s+\+-\s*(?P<spread>{_NUMBER})(?:\s+k\s*(?P<k>{_NUMBER}))?)?"
    rf"(?:\s+on\s+(?P<number>[0-9]+)\s*x\s*(?P<nominal>{_NUMBER})\s*(?P<mass>[a-z]+)(?:\s+(?P<class>\S+))?)?"
)
_GROUPED = ("isolation", "film", "rear_toe")
FORM = "empty=-2.56..-2.25 lb x20, loaded=64.1 lb on 3x10 kg M1 or isolation.v1=230 V"


def add_typed(text: str, readings: dict[str, Any]) -> None:
    """Add one typed reading to a mapping as a case file holds it; `film.left edge=110 um` goes into a group.

    ReadingError when it cannot be read, or is there already.
    """
    name, equals, body = text.partition("=")
    group, dot, point = name.strip().partition(".")
    found = _READING.fullmatch(body.strip())
    if not equals or not name.strip() or found is None:
        raise ReadingError(f"`{text}` is not a reading", f"write it as {FORM}")
    raw = _raw(found)
    into, key = readings, name.strip()
    if dot and group in _GROUPED:
        into, key = readings.setdefault(group, {}), point.strip()
    if key in into:
        raise ReadingError(f"`{name.strip()}` is given twice", "keep one of them")
    if group == "rear_toe" and dot:
        into |= {key: raw.get("value"), "unit": raw["unit"]}
    else:
        into[key] = (
            {"value": raw["value"], "unit": raw["unit"]} if group == "isolation" and "value" in raw else raw
        )


def _raw(found: re.Match[str]) -> dict[str, Any]:
    part = found.groupdict()
    raw: dict[str, Any] = {}
    if part["more"]:
        raw["samples"] = [_number(n) for n in (part["low"], *re.findall(_NUMBER, part["more"]))]
    elif part["high"]:
        raw |= {"low": _number(part["low"]), "high": _number(part["high"])}
    else:
        raw["value"] = _number(part["low"])
    if part["count"]:
        raw["count"] = int(part["count"])
    raw["unit"] = unit(part["unit"]).symbol
    if part["spread"]:
        raw["uncertainty"] = {"value": _number(part["spread"]), "unit": raw["unit"]}
        raw["uncertainty"] |= {"k": _number(part["k"])} if part["k"] else {}
    if part["number"]:
        raw["weights"] = {
            "nominal": _number(part["nominal"]),
            "unit": part["mass"],
            "number": int(part["number"]),
        }
        raw["weights"] |= {"class": part["class"]} if part["class"] else {}
    return raw


def _number(text: str) -> int | float:
    return float(text) if "." in text else int(text)


def typed_code(text: str) -> dict[str, Any]:
    """`B16A1-23 0x2F radar_front`: a code, perhaps its status byte and the system it is about."""
    code, *rest = text.split()
    status = next((w for w in rest if w.lower().startswith("0x")), None)
    system = next((w for w in rest if w != status), None)
    if len(rest) != len([w for w in (status, system) if w]):
        raise ReadingError(f"`{text}` is not a code", "write it as B16A1-23 0x2F radar_front")
    return {"code": code} | ({"status": status} if status else {}) | ({"system": system} if system else {})
