"""A counterexample as a case file that people read and `knockon plan` runs; nothing is left unanswered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import yaml

from ..model.answers import DATE_FACT
from ..model.case import Slot
from ..model.catalogue import FactSpec, Value
from ..model.program import Program
from ..model.rule import Promise
from .domains import Domain

Answers = Mapping[Slot, frozenset[Value]]


def case_text(program: Program, promise: Promise, found: Sequence[Domain], answers: Answers) -> str:
    """The case file. What is out of the ordinary stands in its head, everything else below as answered."""
    date = _date(answers.get(("fact", DATE_FACT)) or frozenset((program.packs[0].date,)))
    case: dict[str, Any] = {"case": f"counterexample {promise.rule.id}", "date": date}
    for section in ("vehicle", "intake", "scan", "lookup", "teardown"):
        said = _section(section, program, answers)
        if section == "scan":
            said["codes"] = {"yes": _subjects("code", answers)}
        if section == "lookup":
            said["methods"] = {s[1]: str(*v) for s, v in answers.items() if s[0] == "method"}
        case[section] = said
    case["fitted"] = {"yes": _subjects("fitted", answers), "no": "all_others"}
    case["parts"] = _parts(program, answers)
    case["procedures"] = [
        {"operation": s[1], "verdict": str(*v), "document": "imagined", "looked_up": date}
        for s, v in answers.items()
        if s[0] == "procedure" and v
    ]
    case["log"] = [
        {"at": date, "did": f"{s[1]}.{s[2]}" if s[2] else s[1], "result": str(*v)}
        for s, v in answers.items()
        if s[0] == "result" and v
    ]
    odd = [_said(d, answers[d.slot]) for d in found if answers[d.slot] != d.clear]
    head = [f"# A case against the promise {promise.rule.id}: {promise.rule.title}", "# What it takes:"]
    return "\n".join((*head, *(f"#   {line}" for line in odd), _yaml(case)))


def _said(domain: Domain, values: frozenset[Value]) -> str:
    words = ", ".join(sorted(str(v) for v in values)) or "none"
    return f"{' '.join(w for w in domain.slot if w)}: {words}"


def _section(section: str, program: Program, answers: Answers) -> dict[str, Any]:
    said: dict[str, Any] = {}
    for slot, values in answers.items():
        spec = program.facts[slot[1]] if slot[0] == "fact" else None
        if spec is not None and spec.id != DATE_FACT and spec.sections[0] == section:
            answer = _answer(spec, values)
            if answer is not None:
                said[spec.id] = answer
    return said


def _answer(spec: FactSpec, values: frozenset[Value]) -> Any:
    """An answer as a person writes it; None where nothing can be written (a date nobody's rule asks for)."""
    if spec.type == "date":
        return _date(values) if values else None
    if spec.type == "number":
        return f"{float(*values):g} {spec.unit}".strip() if values else "none"
    words = sorted(str(v) for v in values)
    return words if spec.type == "set" else words[0]


def _date(values: frozenset[Value]) -> str:
    text = str(*values) if isinstance(next(iter(values)), str) else f"{float(*values):.0f}"
    return text if "-" in text else f"{text[:4]}-{text[4:6]}-{text[6:]}"


def _subjects(kind: str, answers: Answers) -> list[str]:
    return [slot[1] for slot, values in answers.items() if slot[0] == kind and values]


def _parts(program: Program, answers: Answers) -> list[dict[str, Any]]:
    parts = []
    for part in program.parts.values():
        for place in part.places:
            actions, damage = answers["touched", part.id, place], answers["damaged", part.id, place]
            if actions or damage:
                entry: dict[str, Any] = {"part": part.id}
                if len(part.places) > 1:
                    entry["side"] = place
                entry["actions"] = sorted(map(str, actions))
                entry["damage"] = str(*damage) if damage else "none"
                parts.append(entry)
    return parts


def _yaml(case: dict[str, Any]) -> str:
    return yaml.safe_dump(case, sort_keys=False, default_flow_style=None, width=110, allow_unicode=True)
