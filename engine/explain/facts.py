"""The facts a firing matched, told apart: observed, derived, assumed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

from ..infer.lines import Found
from ..model.answers import ACTION_WORDS
from ..model.case import Case, Slot, State
from ..model.catalogue import Test, Value
from ..model.outcome import PROVISIONAL, Firing, Outcome, Record
from ..model.places import meets
from ..model.plan import FactSeen, SourceSeen, Support
from ..model.program import Program, alternatives_by_id
from ..model.record import dataclass, field
from ..model.rule import Alternative, Citation, Pattern
from ..model.span import Span

OBSERVED, DERIVED, ASSUMED = "observed", "derived", "assumed"
MADE = ("derived", "severity", "planned")


@dataclass(slots=True)
class Evidence:
    """One case and its outcome, ready to be asked what stands behind a firing. Use one per case."""

    program: Program
    case: Case
    outcome: Outcome
    found: Found
    by_id: Mapping[str, Alternative] = field(init=False)
    by_kind: Mapping[str, list[Slot]] = field(init=False)
    unanswered: frozenset[Slot] = field(init=False)
    _open: dict[Record, frozenset[Slot]] = field(default_factory=dict)
    _open_asked: dict[str, frozenset[Slot]] = field(default_factory=dict)
    _asked: dict[str, tuple[list[FactSeen], list[FactSeen]]] = field(default_factory=dict)
    _records: dict[Record, FactSeen] = field(default_factory=dict)
    _seen: dict[tuple[Slot, bool, str], FactSeen] = field(default_factory=dict)
    _supports: dict[tuple[str, tuple[Firing, ...]], Support] = field(default_factory=dict)
    _cited: dict[str, tuple[SourceSeen, ...]] = field(init=False)

    def __post_init__(self) -> None:
        self.by_id, self._cited = alternatives_by_id(self.program), _cited(self.program)
        by_kind: dict[str, list[Slot]] = {}
        for slot in self.case.slots:
            by_kind.setdefault(slot[0], []).append(slot)
        self.by_kind = by_kind
        self.unanswered = frozenset([s for s, state in self.case.slots.items() if state.known is None])

    def support(self, firing: Firing, standing: str = PROVISIONAL) -> Support:
        """A firing with its rule's reason and sources and the facts it matched."""
        return self.supports([firing], standing)[0]

    def supports(self, firings: Iterable[Firing], standing: str = PROVISIONAL) -> tuple[Support, ...]:
        """One support per rule and strength, with the facts of all its firings; rules in fixed order."""
        strengths = self.found.strengths[standing]
        found: dict[tuple[str, str], list[Firing]] = {}
        for firing in firings:
            rule = self.by_id[firing.alternative].rule
            found.setdefault((rule.id, strengths.of(firing, rule)), []).append(firing)
        return tuple([self._support(key[1], *found[key]) for key in sorted(found)])

    def _support(self, strength: str, *firings: Firing) -> Support:
        """The support by firings of one rule; a rule that asks for several lines is one support on all of them."""
        found = self._supports.get((strength, firings))
        if found is not None:
            return found
        rule, cited = self.by_id[firings[0].alternative].rule, self._cited
        if rule.id not in cited:
            cited[rule.id] = tuple([self.source(c) for c in rule.source])
        found = self._supports[strength, firings] = Support(
            rule=rule.id,
            pack=rule.pack,
            title=rule.title,
            why=rule.why,
            note=rule.note,
            strength=strength,
            sources=cited[rule.id],
            facts=self.facts(*firings),
            replaces=rule.replaces,
            at=rule.span,
        )
        return found

    def source(self, citation: Citation) -> SourceSeen:
        """A citation with the register's title."""
        source = self.program.sources[citation.source]
        return SourceSeen(source.id, source.title, citation.at, source.kind, source.from_memory)

    def facts(self, *firings: Firing) -> tuple[FactSeen, ...]:
        """The facts firings matched, each once; what a firing needed to be absent comes last."""
        found: dict[tuple[str, str, str], FactSeen] = {}
        for firing in firings:
            asked, absent = self._asked.get(firing.alternative) or self._ask(firing.alternative)
            for fact in (*asked, *map(self.record_seen, firing.records), *absent):
                found.setdefault((fact.slot, fact.value, fact.origin), fact)
        return tuple(found.values())

    def _ask(self, id_: str) -> tuple[list[FactSeen], list[FactSeen]]:
        """What an alternative asks of the case, and what of the case it needed to be absent."""
        asked, absent = list[FactSeen](), list[FactSeen]()
        a = self.by_id[id_]
        for pattern in a.ground:
            for slot in self.slots(pattern):
                state = self.case.state(slot)
                alone = len(pattern.subjects) == 1 or (pattern.subjects and state.known is None)
                if alone or slot_true(pattern.test, state):
                    asked.append(self.seen(slot, pattern.test))
        for group in a.unless:
            for pattern in group:
                for slot in self.slots(pattern)[:6]:
                    state = self.case.state(slot)
                    if state.known is None or state.span.file:
                        absent.append(self.seen(slot, pattern.test))
        self._asked[id_] = asked, absent
        return asked, absent

    def record_seen(self, record: Record) -> FactSeen:
        """A matched record as a fact."""
        found = self._records.get(record)
        if found is None:
            found = self._records[record] = self._record_seen(record)
        return found

    def _record_seen(self, record: Record) -> FactSeen:
        program, subject = self.program, record.subject
        if record.kind == "severity":
            return FactSeen("severity", "severity at least", subject, DERIVED, self._made_at(record))
        if record.kind == "derived":
            value, title = record.place or "yes", program.derived[subject].title
            return FactSeen(_id(record), title, value, DERIVED, self._made_at(record))
        if record.kind == "planned":
            title = program.operations[subject].title
            return FactSeen(_id(record), title, "on the plan", DERIVED, self._made_at(record))
        slot = record_slot(record)
        if record.kind == "fitted" and self.case.state(slot).known is None:
            makers = self.found.strengths[PROVISIONAL].makers.get(record)
            if makers:
                at = self.by_id[makers[0].alternative].rule.span
                return FactSeen(
                    _id(record), self.program.systems[record.subject].title, "fitted by law", DERIVED, at
                )
        return self.seen(slot, None, record.system if record.kind == "fact" else "")

    def _made_at(self, record: Record) -> Span:
        makers = self.found.strengths[PROVISIONAL].makers.get(record, ())
        return self.by_id[makers[0].alternative].rule.span if makers else State(None).span

    def seen(self, slot: Slot, test: Test | None, only: str = "") -> FactSeen:
        """A slot as a fact: what was said, or what is assumed while nobody has said it."""
        absent = test is not None and test.op == "not_known"
        found = self._seen.get((slot, absent, only))
        if found is None:
            state = self.case.state(slot)
            origin = OBSERVED if state.known is not None else ASSUMED
            value = "not known" if absent else only and self.value_title(slot, only)
            value = value or self.values(slot, state)
            found = FactSeen(slot_id(slot), self.slot_title(slot), value, origin, state.span, state.said_by)
            self._seen[slot, absent, only] = found
        return found

    def values(self, slot: Slot, state: State) -> str:
        """The values of a slot in the vocabulary's words."""
        if not state.value:
            return "none" if state.known is not None else "not known"
        return ", ".join([self.value_title(slot, v) for v in sorted(state.value, key=str)])

    def value_title(self, slot: Slot, value: Value) -> str:
        """One value in the vocabulary's words."""
        if slot[0] == "fact":
            return value_words(slot[1], value, self.program)
        if slot[0] == "touched":
            return ACTION_WORDS.get(str(value), str(value))
        return (
            {"yes": "fitted", "no": "not fitted"}.get(str(value), str(value))
            if slot[0] == "fitted"
            else str(value)
        )

    def slot_title(self, slot: Slot) -> str:
        """What a slot is about, in the vocabulary's words."""
        kind, subject = slot[0], slot[1]
        place = f" {slot[2].replace('_', ' ')}" if len(slot) > 2 and slot[2] and not _said(slot) else ""
        if kind == "fact":
            return self.program.facts[subject].title
        if kind in ("touched", "damaged"):
            return f"{self.program.parts[subject].title}{place}" + (" damage" if kind == "damaged" else "")
        if kind in ("fitted", "code", "method"):
            suffix = {"code": ": trouble code", "method": ": calibration method"}.get(kind, "")
            return self.program.systems[subject].title + suffix
        suffix = {"procedure": ": procedure says", "result": ": result"}[kind]
        return self.program.operations[subject].title + place + suffix

    def slots(self, pattern: Pattern) -> list[Slot]:
        """The slots a pattern on the case looks at."""
        kind = pattern.kind
        if kind in MADE:
            return []
        if kind in ("touched", "damaged"):
            return [s for s in self.by_kind.get(kind, ()) if _part_fits(self.program, pattern, s)]
        if kind == "result":
            return [
                ("result", o, p)
                for o, p in self.case.standing
                if not pattern.subjects or o in pattern.subjects
            ]
        return [(kind, s) for s in pattern.subjects] or self.by_kind.get(kind, [])

    def open_slots(self, record: Record) -> frozenset[Slot]:
        """The unanswered slots a made record rests on in the cautious reading, through all its supports."""
        if record in self._open:
            return self._open[record]
        self._open[record] = frozenset()  # a support that leads back here adds nothing
        united: set[Slot] = set()
        for firing in self.found.strengths[PROVISIONAL].makers.get(record, ()):
            united |= self.open_in(firing)
        self._open[record] = frozenset(united)
        return self._open[record]

    def open_in(self, firing: Firing) -> set[Slot]:
        """The unanswered slots one firing rests on."""
        asked = self._open_asked.get(firing.alternative)
        united = set(self._ask_open(firing.alternative) if asked is None else asked)
        for record in firing.records:
            if record.kind in MADE:
                united |= self.open_slots(record)
            elif (slot := record_slot(record)) in self.unanswered:
                united.add(slot)
        return united

    def _ask_open(self, id_: str) -> frozenset[Slot]:
        a = self.by_id[id_]
        asked = [s for p in (*a.ground, *(p for g in a.unless for p in g)) for s in self.slots(p)]
        found = self._open_asked[id_] = self.unanswered.intersection(asked)
        return found


@lru_cache(maxsize=8)
def _cited(program: Program) -> dict[str, tuple[SourceSeen, ...]]:
    """The sources of each rule asked about so far, for every case of a program."""
    return {}


def value_words(fact: str, value: Value, program: Program) -> str:
    """One value of a fact in the vocabulary's words."""
    spec = program.facts[fact]
    if spec.type == "date":
        text = str(int(float(value)))
        return f"{text[:4]}-{text[4:6]}-{text[6:]}"
    if spec.type == "number":
        return f"{float(value):g} {spec.unit}".rstrip()
    if "*" in spec.values and str(value) in program.systems:
        return program.systems[str(value)].title
    return spec.values.get(str(value), str(value))


def _said(slot: Slot) -> bool:
    """Parts that name their end need only their side spoken."""
    return slot[2] in ("front", "rear")


def _part_fits(program: Program, pattern: Pattern, slot: Slot) -> bool:
    if pattern.subjects and slot[1] not in pattern.subjects:
        return False
    if pattern.place and not pattern.place.startswith("$") and not meets(pattern.place, slot[2]):
        return False
    if pattern.relation and pattern.systems:
        return not getattr(program.parts[slot[1]], pattern.relation).isdisjoint(pattern.systems)
    return True


def slot_true(test: Test | None, state: State) -> bool:
    """Whether a plain membership test holds of what a slot is taken to be."""
    return test is None or test.op != "any_of" or not state.value.isdisjoint(test.values)


def record_slot(record: Record) -> Slot:
    """The slot a record of the case came from."""
    if record.kind in ("touched", "damaged", "result"):
        return (record.kind, record.subject, record.place)
    return (record.kind, record.subject)


def slot_id(slot: Slot) -> str:
    """How a slot is written in output: `area`, `fitted.radar_front`, `touched.door_front.left`."""
    return slot[1] if slot[0] == "fact" else ".".join(s for s in slot if s)


def _id(record: Record) -> str:
    return ".".join(w for w in (record.kind, record.subject, record.place) if w)
