"""The plan as JSON, by schemas/plan.schema.json."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..model.plan import Line, Plan, Support
from ..model.record import field_names, is_dataclass
from ..model.span import Span
from .plain import as_json

VERSION = 1


def plan_json(plan: Plan) -> str:
    """The plan as indented JSON text; same plan, same bytes."""
    return as_json(plan_data(plan))


def plan_data(plan: Plan) -> dict[str, Any]:
    """The plan as plain data."""
    return {
        "version": VERSION,
        "case": plan.case,
        "date": plan.date,
        "vehicle": dict(plan.vehicle),
        "knockon": plan.knockon,
        "engines": list(plan.engines),
        "packs": [{"name": p.name, "version": p.version, "sha256": p.sha256} for p in plan.packs],
        "severity": {
            "level": plan.severity,
            "certain": plan.severity_certain,
            "because": [support_data(s) for s in plan.severity_because],
        },
        "lines": [_line(line) for line in plan.lines],
        "questions": [plain(q) for q in plan.questions],
        "cautions": dict(plan.cautions),
        "preconditions": dict(plan.preconditions),
        "considered": [
            {"kind": c.kind, "id": c.id, "title": c.title, "reason": c.reason, "rules": list(c.rules)}
            for c in plan.considered
        ],
        "notices": [plain(n) for n in plan.notices],
        "overrides": [plain(o) for o in plan.overrides],
        "log": [dict(entry) for entry in plan.log],
    }


def _line(line: Line) -> dict[str, Any]:
    data = {name: plain(getattr(line, name)) for name in field_names(line)}
    data["because"] = [support_data(s) for s in line.because]
    return data


def support_data(support: Support) -> dict[str, Any]:
    """One support as plain data."""
    return {
        "rule": support.rule,
        "pack": support.pack,
        "title": support.title,
        "why": support.why,
        "note": support.note,
        "strength": support.strength,
        "replaces": support.replaces,
        "at": str(support.at),
        "sources": [plain(s) for s in support.sources],
        "facts": [
            {
                "fact": f.slot,
                "title": f.title,
                "value": f.value,
                "from": f.origin,
                "at": str(f.at) if f.at.file else "",
                "said_by": f.said_by,
            }
            for f in support.facts
        ],
    }


def plain(value: Any) -> Any:
    """Dataclasses, tuples and places as plain data."""
    if isinstance(value, Span):
        return str(value) if value.file else ""
    if is_dataclass(value) and not isinstance(value, type):
        return {name: plain(getattr(value, name)) for name in field_names(value)}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | frozenset | set):
        return [plain(v) for v in (sorted(value, key=str) if isinstance(value, set | frozenset) else value)]
    return value
