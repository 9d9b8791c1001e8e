"""The page of words: every fact, part, system, event and operation a case file can name, generated from the packs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from ..model.answers import ACTION_WORDS, DAMAGE, DATE_FACT, METHODS, VERDICTS
from ..model.catalogue import Event, FactSpec, Part, System
from ..model.program import Program
from .words import WHO, marked

SECTIONS = {
    "vehicle": "Of the vehicle",
    "intake": "At the counter",
    "scan": "From the scan",
    "lookup": "Looked up",
    "teardown": "At teardown",
}
HEAD = """# Words a case file can use

`knockon intake` asks for all of this in plain words; this page is for whoever writes the file by hand. Write `unknown`,
or leave the line out, for what nobody has looked at yet; write `[]` or `none` for what was looked at and is not there.

```yaml
case: lr-1052
date: 2026-11-16
vehicle: {name: "van, in your own words", model_year: 2021}
fitted: {yes: [cam_rear], no: [lidar]}     # systems; `no: all_others` once the build data was read
intake: {event_type: collision, area: [rear, left], zone: [bl], hitch_fitted: yes}
teardown: {reinf_deformed: no}
parts:
  - {part: bumper_cover_rear, actions: [ri, refinish], damage: cosmetic, note: old paint}
procedures:
  - {operation: ocs_check, document: service data 12.4, looked_up: 2026-11-16, verdict: required,
     limits: {empty: {low: -3, high: 3, unit: kg}}}
log:
  - {at: 2026-11-16T09:10, did: scan_pre, result: pass, readings: {codes: []}, by: K. Oster}
  - {at: 2026-11-17T10:00, event: ev_seat_out, note: carpet out to dry}
```
"""


def vocabulary_page(program: Program) -> str:
    """The page as Markdown, without the line that says it is generated."""
    parts = [HEAD]
    for section, title in SECTIONS.items():
        facts = [s for id_, s in program.facts.items() if s.sections[0] == section and id_ != DATE_FACT]
        if facts:
            parts.append(_table(f"{title}: `{section}:`", ("fact", "question", "answers"), map(_fact, facts)))
    systems = ((f"`{x.id}`", _named(x), marked(x.does)) for x in program.systems.values())
    parts.append(_table("Systems: `fitted:`", ("system", "name", "what it does"), systems))
    doing = ((f"`{a}`", words) for a, words in ACTION_WORDS.items())
    parts.append(_table("What is done to a part: `actions:`", ("word", "meaning"), doing))
    parts.append(f"Its `damage:` is one of {_codes(DAMAGE)}.")
    listed = (
        (f"`{p.id}`", _named(p), _codes(p.places if len(p.places) > 1 else ()))
        for p in program.parts.values()
    )
    parts.append(_table("Parts: `parts:`", ("part", "name", "sides"), listed))
    parts.append(
        f"A calibration method, under `lookup: {{methods: {{cam_front: dynamic}}}}`, is one of {_codes(METHODS)}. "
        f"The `verdict:` of a procedure is one of {_codes(VERDICTS)}."
    )
    events = ((f"`{e.id}`", _named(e), _scope(e.scope, e.part)) for e in program.events.values())
    parts.append(_table("Events: `log:`", ("event", "what happened", "say also"), events))
    parts.append(
        _table("Operations: `log:`, `procedures:`", ("operation", "name", "per"), _operations(program))
    )
    return "\n\n".join(part.rstrip("\n") for part in parts) + "\n"


def _table(title: str, columns: tuple[str, ...], rows: Iterable[Iterable[str]]) -> str:
    lines = [f"## {title}", "", f"| {' | '.join(columns)} |", f"|{'---|' * len(columns)}"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)])


def _named(item: System | Part | Event) -> str:
    """The title, and the other words that find it where names are typed."""
    return marked(item.title) + (f"; also {', '.join(map(marked, item.also))}" if item.also else "")


def _fact(spec: FactSpec) -> tuple[str, ...]:
    who = " or ".join(WHO.get(w, w.replace("_", " ")) for w in spec.who)
    return f"`{spec.id}`", f"{marked(spec.ask)} ({who})", _answers(spec)


def _answers(spec: FactSpec) -> str:
    if "*" in spec.values:
        return "a list of systems"
    if spec.type not in ("choice", "set"):
        return (
            "a date" if spec.type == "date" else f"a number{f' with its unit, {spec.unit}' * bool(spec.unit)}"
        )
    words = "; ".join(_value(id_, title) for id_, title in _titles(spec.values).items())
    return f"a list of: {words}" if spec.type == "set" else words


def _titles(values: Mapping[str, str]) -> Mapping[str, str]:
    return {id_: title for id_, title in values.items() if id_ not in ("", "unknown")}


def _value(id_: str, title: str) -> str:
    return f"`{id_}`" if title == id_.replace("_", " ") else f"`{id_}` {marked(title)}"


def _scope(scope: str, part: str) -> str:
    return f"`{scope}:`" if scope in ("part", "system") and not part else ""


def _operations(program: Program) -> Iterator[tuple[str, ...]]:
    for operation in program.operations.values():
        yield f"`{operation.id}`", marked(operation.title), operation.per


def _codes(words: Iterable[str]) -> str:
    return ", ".join(f"`{w}`" for w in words)
