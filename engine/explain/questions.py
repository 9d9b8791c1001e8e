"""Which answers are still missing, and how much each would settle.

A question is open while an unanswered slot stands in a match that is possible but not certain, or decides what
is assumed of one that does, and that match bears on a line which is not settled. As answers come in, possible
matches only go and certain ones only come, so the set of open questions only shrinks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..infer.lines import LineId, Strengths, find_lines, strengths
from ..infer.made import effects
from ..infer.run import infer
from ..load.slots import with_answers
from ..measure.standing import settle
from ..model.case import Slot
from ..model.catalogue import Value
from ..model.outcome import FIRM, POSSIBLE, Firing, Fixpoint, Record
from ..model.plan import Question
from ..model.record import dataclass
from ..model.rule import STRENGTHS
from .facts import Evidence, record_slot

PARTS, SCAN = "parts_final", "scan_pre_state"
AREAS = {
    "restraints": "restraint systems",
    "seat": "seat systems",
    "front_assist": "driver assistance systems at the front",
    "rear_assist": "driver assistance systems at the rear and sides",
    "chassis": "chassis systems",
    "body": "body systems",
    "high_voltage": "high-voltage systems",
    "supply": "supply and network systems",
    "comfort": "comfort systems",
}


@dataclass(frozen=True, slots=True)
class Weighed:
    """A question with the lines that hang on it."""

    id: str
    slots: tuple[Slot, ...]
    possible: frozenset[LineId]
    provisional: frozenset[LineId]
    weight: float


def questions(evidence: Evidence) -> list[Question]:
    """Open questions, the one that settles most first."""
    weighed = weigh(evidence)
    return [_question(evidence, w) for w in weighed]


def weigh(evidence: Evidence) -> list[Weighed]:
    """Open questions with the lines each one bears on, ranked."""
    outcome = evidence.outcome
    if all(state.known is not None for state in evidence.case.slots.values()):
        return []
    certain = set(outcome[FIRM].firings)
    open_firings = [f for f in outcome[POSSIBLE].firings if f not in certain]
    decided: dict[Slot, frozenset[Slot]] = {}
    direct = {f: _groups(evidence, f, decided) for f in open_firings}
    usable = [f for f in outcome[POSSIBLE].firings if f in certain or not _rests_on_procedure(evidence, f)]
    ceiling = strengths(evidence.program, Fixpoint(tuple(usable), outcome[POSSIBLE].made))
    closure = _closure(evidence, open_firings, direct)
    bearing: dict[str, tuple[set[LineId], set[LineId]]] = {}
    there: set[Slot] = set()
    for key, line in evidence.found.lines.items():
        if _settled(evidence, key, ceiling):
            continue
        groups = closure.get(Record("planned", *key), frozenset()) | closure.get(
            Record("drop", *key), frozenset()
        )
        fitted = _fitted_open(evidence, key[0]) if not line.firm_as else frozenset()
        there |= fitted
        for group in groups | {group_of(evidence, s) for s in fitted}:
            pair = bearing.setdefault(group, (set(), set()))
            pair[0 if line.standing == POSSIBLE else 1].add(key)
    members = _members([*direct.values(), frozenset(there)], evidence)
    found = [
        Weighed(group, members[group], frozenset(maybe), frozenset(soon), _weight(evidence, maybe, soon))
        for group, (maybe, soon) in bearing.items()
    ]
    asked_in = {fact: place for place, fact in enumerate(evidence.program.facts)}
    return sorted(found, key=lambda w: (-w.weight, asked_in.get(w.id, len(asked_in)), w.id))


def _fitted_open(evidence: Evidence, operation: str) -> frozenset[Slot]:
    """The systems on which an operation hangs by itself, as long as none of them is known to be there."""
    slots: list[Slot] = [("fitted", s) for s in evidence.program.operations[operation].systems]
    by_law = evidence.outcome[FIRM].made
    if any("yes" in (evidence.case.state(s).known or ()) or Record(*s) in by_law for s in slots):
        return frozenset()
    return frozenset(s for s in slots if evidence.case.state(s).known is None)


def _weight(evidence: Evidence, maybe: set[LineId], soon: set[LineId]) -> float:
    """Lines already on the plan count most, required ones double; possible ones a little."""
    lines = evidence.found.lines
    return sum(1 + STRENGTHS.index(lines[k].strength) for k in soon) + 0.1 * len(maybe)


def _settled(evidence: Evidence, key: LineId, ceiling: Strengths) -> bool:
    """A line no answer can change any more: certain, and already as strong as it can become."""
    firm_as = evidence.found.lines[key].firm_as
    return bool(firm_as) and ceiling.records.get(Record("planned", *key), firm_as) == firm_as


def _rests_on_procedure(evidence: Evidence, firing: Firing) -> bool:
    a = evidence.by_id[firing.alternative]
    return any(p.kind == "procedure" for p in (*a.ground, *a.records))


def _groups(evidence: Evidence, firing: Firing, decided: dict[Slot, frozenset[Slot]]) -> frozenset[Slot]:
    """The unanswered slots a firing touches directly that somebody can answer, and what decides them."""
    a, case = evidence.by_id[firing.alternative], evidence.case
    found = {record_slot(r) for r in firing.records if r.kind not in ("derived", "severity", "planned")}
    for pattern in a.ground:
        found.update(evidence.slots(pattern))
    for group in a.unless:
        for pattern in group:
            found.update(s for s in evidence.slots(pattern) if s[0] in ("fact", "fitted", "code", "method"))
    unanswered = {s for s in found if s in case.slots and case.slots[s].known is None and s[0] != "procedure"}
    return frozenset(unanswered).union(*(_decided_by(evidence, s, decided) for s in unanswered))


def _decided_by(evidence: Evidence, slot: Slot, decided: dict[Slot, frozenset[Slot]]) -> frozenset[Slot]:
    """The unanswered facts on which hangs what is assumed of a slot; a pack with a ring does not load."""
    if slot not in decided:
        facts = {"zone"} if slot[0] == "damaged" else set[str]()  # a hidden part in a hit zone is suspected
        if slot[0] == "fact":
            facts = {fact for a in evidence.program.facts[slot[1]].assume for fact, _ in a.when}
        slots: set[Slot] = {("fact", f) for f in facts if ("fact", f) in evidence.case.slots}
        unknown = {s for s in slots if evidence.case.slots[s].known is None}
        decided[slot] = frozenset(unknown).union(*(_decided_by(evidence, s, decided) for s in unknown))
    return decided[slot]


def group_of(evidence: Evidence, slot: Slot) -> str:
    """The question a slot belongs to: systems by area, parts together, codes together."""
    kind, subject = slot[0], slot[1]
    if kind in ("touched", "damaged"):
        return PARTS
    if kind == "code":
        return SCAN
    if kind == "fitted":
        return f"fitted.{evidence.program.systems[subject].area}"
    return subject if kind == "fact" else f"{kind}.{subject}"


def _members(slots: Iterable[frozenset[Slot]], evidence: Evidence) -> dict[str, tuple[Slot, ...]]:
    found: dict[str, set[Slot]] = {}
    for united in slots:
        for slot in united:
            found.setdefault(group_of(evidence, slot), set()).add(slot)
    return {group: tuple(sorted(members)) for group, members in found.items()}


def _closure(
    evidence: Evidence, firings: list[Firing], direct: Mapping[Firing, frozenset[Slot]]
) -> dict[Record, frozenset[str]]:
    """For each record made by an uncertain firing the questions it hangs on, through every chain."""
    named = {f: frozenset(group_of(evidence, s) for s in direct[f]) for f in firings}
    made = {f: tuple(effects(evidence.by_id[f.alternative], f.records, evidence.program)) for f in firings}
    negative = _negative(evidence, firings)
    hangs: dict[Record, frozenset[str]] = {}
    changed = True
    while changed:
        changed = False
        for firing in firings:
            groups = named[firing]
            for record in (*firing.records, *negative[firing]):
                groups = groups | hangs.get(record, frozenset())
            for record in made[firing]:
                before = hangs.get(record, frozenset())
                if not groups <= before:
                    hangs[record], changed = before | groups, True
    return hangs


def _negative(evidence: Evidence, firings: list[Firing]) -> dict[Firing, tuple[Record, ...]]:
    """Made records a firing depends on by their absence: what may make them keeps it from being certain."""
    by_node: dict[tuple[str, str], list[Record]] = {}
    for record in evidence.outcome[POSSIBLE].made:
        by_node.setdefault((record.kind, record.subject), []).append(record)
    found = {}
    for firing in firings:
        patterns = [p for group in evidence.by_id[firing.alternative].unless for p in group]
        found[firing] = tuple(
            r
            for p in patterns
            if p.kind in ("derived", "severity")
            for s in p.subjects
            for r in by_node.get((p.kind, s), ())
        )
    return found


def _question(evidence: Evidence, weighed: Weighed) -> Question:
    program, id_ = evidence.program, weighed.id
    ids = tuple(sorted(_line_id(k) for k in weighed.provisional))
    maybe = tuple(sorted(_line_id(k) for k in weighed.possible))
    spec = program.facts.get(id_)
    choices: dict[str, str] = {}
    if spec is not None:
        ask, who, help_ = spec.ask, spec.who, spec.help
        choices = dict(spec.values) if "*" not in spec.values else {}
    elif id_.startswith("fitted."):
        area = AREAS[id_.partition(".")[2]]
        ask, who, help_ = f"Which {area} are fitted?", ("lookup", "scan_tech"), "from build data; name each"
        choices = {s[1]: program.systems[s[1]].title for s in weighed.slots}
    else:
        system = program.systems[id_.partition(".")[2]].title
        ask, who = f"Which calibration method does the procedure give for the {system}?", ("lookup",)
        help_, choices = (
            "",
            {m: m.replace("_", " ") for m in ("static", "dynamic", "both", "self_learn", "none")},
        )
    slots = tuple(".".join(s) for s in weighed.slots)
    return Question(id_, ask, who, choices, help_, maybe, ids, ids, slots)


def _line_id(key: LineId) -> str:
    return f"{key[0]}.{key[1]}" if key[1] else key[0]


def answers_to(evidence: Evidence, question: Question) -> dict[str, dict[Slot, frozenset[Value]]]:
    """The answers worth trying for a question, each as what it settles."""
    slots = [tuple(s.split(".")) for s in question.slots]
    if question.fact.startswith("fitted."):
        none = {s: frozenset[Value](("no",)) for s in slots}
        every = {s: frozenset[Value](("yes",)) for s in slots}
        return {"none of them": none, "all of them": every}
    if question.fact == PARTS:
        return {"yes": {("fact", PARTS): frozenset(("yes",))}}
    slot: Slot = ("method", question.fact.partition(".")[2])
    if question.fact in evidence.program.facts:
        slot = ("fact", question.fact)
    empty = {"none": {slot: frozenset[Value]()}} if _is_set(evidence, question.fact) else {}
    return empty | {v: {slot: frozenset((v,))} for v in list(question.choices)[:12]}


def _is_set(evidence: Evidence, fact: str) -> bool:
    return fact in evidence.program.facts and evidence.program.facts[fact].type == "set"


def try_answers(evidence: Evidence, question: Question) -> dict[str, dict[str, tuple[str, ...]]]:
    """For each answer the lines it would add, drop or firm, found by running the case with it.

    One engine does: this is advice on what to ask, and the plan with the answer is made by both.
    """
    now = {k: line for k, line in evidence.found.lines.items() if line.standing != POSSIBLE}
    result = {}
    for answer, settles in answers_to(evidence, question).items():
        case = settle(with_answers(evidence.case, evidence.program, settles), evidence.program)
        found = find_lines(evidence.program, case, infer(evidence.program, case, alone=True)).lines
        then = {k: line for k, line in found.items() if line.standing != POSSIBLE}
        firms = [k for k in then if k in now and then[k].standing == FIRM and now[k].standing != FIRM]
        result[answer] = {
            "adds": tuple(sorted(_line_id(k) for k in then if k not in now)),
            "drops": tuple(sorted(_line_id(k) for k in now if k not in then)),
            "firms": tuple(sorted(_line_id(k) for k in firms)),
        }
    return result
