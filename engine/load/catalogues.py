"""From checked trees to the catalogues of facts, systems, parts, operations, events and sources."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ..diagnostics.message import Culprit, Messages
from ..model.catalogue import (
    Assumption,
    Derived,
    Event,
    FactSpec,
    Figure,
    Implied,
    Impossible,
    Operation,
    Part,
    Reading,
    Source,
    System,
    Test,
    Value,
)
from ..model.places import KEPT_BY, join
from ..model.program import Labour
from ..model.record import dataclass, field
from ..model.span import Span
from .names import as_list
from .tree import Tree
from .values import number


@dataclass(slots=True)
class Catalogues:
    """Everything a stack of packs names, merged; ids are unique across the stack."""

    facts: dict[str, FactSpec] = field(default_factory=dict)
    derived: dict[str, Derived] = field(default_factory=dict)
    systems: dict[str, System] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)
    operations: dict[str, Operation] = field(default_factory=dict)
    phases: dict[str, str] = field(default_factory=dict)
    preconditions: dict[str, str] = field(default_factory=dict)
    cautions: dict[str, str] = field(default_factory=dict)
    events: dict[str, Event] = field(default_factory=dict)
    sources: dict[str, Source] = field(default_factory=dict)
    zones: dict[str, str] = field(default_factory=dict)
    labour: dict[str, Labour] = field(default_factory=dict)
    limits: dict[str, dict[str, Any]] = field(default_factory=dict)
    limit_spans: dict[str, dict[str, Span]] = field(default_factory=dict)
    impossible: tuple[Impossible, ...] = ()
    implied: tuple[Implied, ...] = ()

    def figure(self, text: str) -> Figure | None:
        """The figure a reference `source.figure` names."""
        source, _, name = text.partition(".")
        return self.sources[source].figures.get(name) if source in self.sources else None


def read_catalogues(trees: list[Tree], messages: Messages) -> Catalogues:
    """Merge the catalogues of all trees."""
    found = Catalogues()
    for tree in trees:
        for section, build in _BUILDERS.items():
            for id_, raw in (tree.value.get(section) or {}).items():
                span = tree.key(section, id_)
                _add(getattr(found, section), id_, build(id_, raw, span), span, section, messages)
        for id_, named in (tree.value.get("limits") or {}).items():
            found.limit_spans[id_] = {name: tree.key("limits", id_, name) for name in named}
        for i, phase in enumerate(tree.value.get("phases") or []):
            if phase["id"] in found.phases:
                text = f"phase `{phase['id']}` exists already"
                messages.add("KN202", text, tree.at("phases", i), next_step="use another id")
            found.phases[phase["id"]] = phase["title"]
    return found


def _add(into: dict[str, Any], id_: str, item: Any, span: Span, section: str, messages: Messages) -> None:
    if id_ in into:
        first = getattr(into[id_], "span", None)
        culprits = [Culprit(span, "again here")]
        if first:
            culprits.append(Culprit(first, "first here"))
        messages.add("KN202", f"`{id_}` of {section} exists already", *culprits, next_step="use another id")
        return
    into[id_] = item


def _fact(id_: str, raw: Mapping[str, Any], span: Span) -> FactSpec:
    values, places = {}, {}
    if isinstance(raw.get("values"), dict):
        for value, meaning in raw["values"].items():
            is_text = not isinstance(meaning, dict)
            values[value] = str(meaning if is_text else meaning.get("title", value))
            places[value] = "" if is_text else meaning.get("place", "")
    elif raw.get("values"):
        values = {"*": "a system"}
    kind = raw["type"]
    return FactSpec(
        id=id_,
        title=raw["title"],
        ask=raw["ask"],
        type=kind,
        values=values,
        places=places,
        unit=raw.get("unit", ""),
        sections=tuple(raw["section"]),
        who=tuple(raw["who"]),
        assume=_assumptions(raw["assume"], kind),
        clear=_clear(raw["clear"], kind),
        help=raw.get("help", ""),
        span=span,
        between=tuple(float(n) for n in raw.get("between", ())),
    )


def _assumptions(raw: Any, kind: str) -> tuple[Assumption, ...]:
    """Conditional assumptions carry fact tests, which are read once all facts are known."""
    if isinstance(raw, list) and any(isinstance(item, dict) for item in raw):
        items = (i if isinstance(i, dict) else {"value": i} for i in raw)
        return tuple(
            Assumption(values=_clear(i.get("value", i.get("add")), kind), add="add" in i) for i in items
        )
    return (Assumption(_clear(raw, kind)),)


def _clear(raw: Any, kind: str) -> tuple[Value, ...]:
    values = [v for v in as_list(raw) if v is not None]
    if kind in ("number", "date"):
        return tuple(_number_or_word(v) for v in values if v != "nothing")
    if kind == "set":
        return tuple(str(v) for v in values if v not in ("none", "nothing"))
    return tuple(str(v) for v in values if v != "nothing")


def _number_or_word(value: Any) -> Value:
    """A word where a number belongs is kept, so that the check of the vocabulary can name it."""
    try:
        return number(value)
    except ValueError:
        return str(value)


def plain_test(raw: Mapping[str, Any]) -> Test:
    """The test a fact pattern writes, with numbers still as written."""
    if raw.get("is") == "not_known":
        return Test("not_known")
    if raw.get("some"):
        return Test("some")
    for key, op in _OPS.items():
        if key in raw:
            return Test(op, tuple(v if isinstance(v, int | float) else str(v) for v in as_list(raw[key])))
    return Test("none")


_OPS = {
    "is": "any_of",
    "in": "any_of",
    "any_of": "any_of",
    "not_in": "none_of",
    "none_of": "none_of",
    "at_least": "at_least",
    "below": "below",
}


def _derived(id_: str, raw: Mapping[str, Any], span: Span) -> Derived:
    return Derived(id_, raw["title"], raw["per"], span)


def _system(id_: str, raw: Mapping[str, Any], span: Span) -> System:
    return System(
        id=id_,
        title=raw["title"],
        does=raw["does"],
        area=raw["area"],
        universal=raw.get("universal", False),
        components=raw.get("components", ""),
        mounting=raw.get("mounting", ""),
        disturbed_by=tuple(raw.get("disturbed_by", [])),
        also=tuple(raw.get("also", [])),
        span=span,
    )


def _part(id_: str, raw: Mapping[str, Any], span: Span) -> Part:
    end = raw.get("end", "none")
    sides = ("left", "right") if raw.get("sides") == "left_right" else ("",)
    if end == "by_wheel":
        places: tuple[str, ...] = KEPT_BY["corner"]
    else:
        places = tuple(join("" if end == "none" else end, side) for side in sides)
    return Part(
        id=id_,
        title=raw["title"],
        places=places,
        end=end,
        zones=tuple(raw.get("zones", [])),
        hidden=raw.get("hidden", False),
        carries=frozenset(raw.get("carries", [])),
        covers=frozenset(raw.get("covers", [])),
        near=frozenset(raw.get("near", [])),
        also=tuple(raw.get("also", [])),
        span=span,
    )


def _operation(id_: str, raw: Mapping[str, Any], span: Span) -> Operation:
    return Operation(
        id=id_,
        title=raw["title"],
        kind=raw["kind"],
        systems=tuple(raw["systems"]),
        per=raw["per"],
        phase=raw["phase"],
        needs=tuple(raw.get("needs", [])),
        record=tuple(
            Reading(r["name"], r.get("unit", ""), r.get("limit", "")) for r in raw.get("record", [])
        ),
        after=tuple(raw.get("after", [])) + tuple(f"*{kind}" for kind in raw.get("after_kinds", [])),
        void_by=tuple(raw.get("void_by", [])),
        cautions=tuple(raw.get("cautions", [])),
        why_after=raw.get("why_after", {}),
        span=span,
    )


def _source(id_: str, raw: Mapping[str, Any], span: Span) -> Source:
    memory = raw.get("from_memory", False)
    figures = {
        name: Figure(f["value"], f.get("unit", ""), str(f.get("at", "")), f.get("from_memory", memory))
        for name, f in (raw.get("figures") or {}).items()
    }
    return Source(
        id=id_,
        title=raw["title"],
        kind=raw["kind"],
        edition=str(raw.get("edition", "")),
        from_memory=memory,
        reviewed=raw["reviewed"],
        figures=figures,
        read_at=raw.get("read_at", ""),
        span=span,
    )


def _event(id_: str, raw: Mapping[str, Any], span: Span) -> Event:
    return Event(
        id=id_,
        title=raw["title"],
        scope=raw["scope"],
        answers={str(k): str(v) for k, v in raw.get("answers", {}).items()},
        while_undone=raw.get("while_undone", False),
        action=raw.get("action", ""),
        part=raw.get("part", ""),
        also=tuple(raw.get("also", [])),
        span=span,
    )


def _title(id_: str, raw: Mapping[str, Any] | str, span: Span) -> str:
    return raw if isinstance(raw, str) else str(raw["title"])


def _zone(id_: str, raw: Mapping[str, Any] | str, span: Span) -> str:
    return raw if isinstance(raw, str) else str(raw.get("title", id_))


def _labour(id_: str, raw: Mapping[str, Any], span: Span) -> Labour:
    return Labour(raw["category"], raw.get("hours"), raw.get("sublet", False))


_BUILDERS: Mapping[str, Callable[[str, Any, Span], Any]] = {
    "facts": _fact,
    "derived": _derived,
    "systems": _system,
    "parts": _part,
    "operations": _operation,
    "preconditions": _title,
    "cautions": _title,
    "events": _event,
    "sources": _source,
    "zones": _zone,
    "labour": _labour,
    "limits": lambda id_, raw, span: raw,
}
