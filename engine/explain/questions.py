"""Which answers are still missing, and how much each would settle.

A question is open while an unanswered slot stands in a match that is possible but not certain, or decides what
is assumed of one that does, and that match bears on a line which is not settled. As answers come in, possible
matches only go and certain ones only come, so the set of open questions only shrinks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..infer.lines import LineId, find_lines, how_strong
from ..infer.made import Way
from ..infer.run import infer
from ..load.slots import with_answers
from ..measure.standing import settle
from ..model.case import Slot
from ..model.catalogue import Value
from ..model.outcome import FIRM, POSSIBLE, Record
from ..model.plan import Question
from ..model.record import dataclass
from ..model.rule import STRENGTHS, Alternative
from .facts import MADE, Evidence, record_slot

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
    """A question with the ids of the lines that hang on it, in order."""

    id: str
    slots: tuple[Slot, ...]
    possible: tuple[str, ...]
    provisional: tuple[str, ...]
    weight: float


def questions(evidence: Evidence) -> list[Question]:
    """Open questions, the one that settles most first."""
    weighed = weigh(evidence)
    return [_question(evidence, w) for w in weighed]


def weigh(evidence: Evidence) -> list[Weighed]:
    """Open questions with the lines each one bears on, ranked."""
    if not evidence.unanswered:
        return []
    lines, numbers = evidence.found.lines, _Numbers(evidence)
    ceiling, open_ways = _uncertain(evidence)
    hangs = _closure(evidence, open_ways, numbers)
    maybe, soon = list[tuple[str, int]](), list[tuple[str, int, int]]()
    for name, key in sorted((_line_id(key), key) for key in lines):
        line, record = lines[key], Record("planned", *key)
        if line.firm_as and ceiling.get(record, line.firm_as) == line.firm_as:
            continue  # no answer can change it any more: certain, and already as strong as it can become
        on = hangs.get(record, 0) | hangs.get(Record("drop", *key), 0)
        on |= 0 if line.firm_as else numbers.of(_fitted_open(evidence, key[0]))
        if line.standing == POSSIBLE:
            maybe.append((name, on))
        else:
            soon.append((name, on, 1 + STRENGTHS.index(line.strength)))
    found = []
    for number, (id_, members) in enumerate(numbers.groups):
        bit = 1 << number
        possible = tuple([name for name, on in maybe if on & bit])
        provisional = tuple([name for name, on, _ in soon if on & bit])
        if possible or provisional:
            # lines already on the plan count most, required ones double; possible ones a little
            weight = sum([worth for _, on, worth in soon if on & bit]) + 0.1 * len(possible)
            found.append(Weighed(id_, tuple(sorted(members)), possible, provisional, weight))
    asked_in = {fact: place for place, fact in enumerate(evidence.program.facts)}
    return sorted(found, key=lambda w: (-w.weight, asked_in.get(w.id, len(asked_in)), w.id))


class _Numbers:
    """Questions by number: a set of them is a mask, which unites and compares at once."""

    def __init__(self, evidence: Evidence) -> None:
        self.evidence = evidence
        self.groups: list[tuple[str, set[Slot]]] = []
        self.number: dict[str, int] = {}
        self.masks: dict[Slot, int] = {}

    def of(self, slots: Iterable[Slot]) -> int:
        """The questions that unanswered slots belong to, and those of what decides the slots."""
        mask = 0
        for slot in slots:
            known = self.masks.get(slot)
            mask |= self._of(slot) if known is None else known
        return mask

    def _of(self, slot: Slot) -> int:
        group = group_of(self.evidence, slot)
        if group not in self.number:
            self.number[group] = len(self.groups)
            self.groups.append((group, set()))
        number = self.number[group]
        self.groups[number][1].add(slot)
        self.masks[slot] = 1 << number | self.of(_decided_by(self.evidence, slot))
        return self.masks[slot]


def _fitted_open(evidence: Evidence, operation: str) -> list[Slot]:
    """The systems on which an operation hangs by itself, as long as none of them is known to be there."""
    slots: list[Slot] = [("fitted", s) for s in evidence.program.operations[operation].systems]
    by_law = evidence.outcome[FIRM].made
    if any("yes" in (evidence.case.state(s).known or ()) or Record(*s) in by_law for s in slots):
        return []
    return [s for s in slots if s in evidence.unanswered]


def _uncertain(evidence: Evidence) -> tuple[Mapping[Record, str], list[Way]]:
    """How strong records can become without a look-up, and the firings that are possible but not certain."""
    certain = set(evidence.outcome[FIRM].firings)
    usable, uncertain = list[Way](), list[Way]()
    for way in evidence.found.strengths[POSSIBLE].ways:
        a, makes, firings = way
        rest = [f for f in firings if f not in certain]
        if rest:
            uncertain.append((a, makes, rest))
        if not rest or not any(p.kind == "procedure" for p in (*a.ground, *a.records)):
            usable.append(way)
        elif len(rest) < len(firings):
            usable.append((a, makes, [f for f in firings if f in certain]))
    return how_strong(usable)[1], uncertain


def _asks(evidence: Evidence, a: Alternative) -> set[Slot]:
    """The unanswered slots an alternative touches directly and somebody can answer."""
    asked = {slot for pattern in a.ground if pattern.kind != "procedure" for slot in evidence.slots(pattern)}
    for group in a.unless:
        for pattern in group:
            if pattern.kind in ("fact", "fitted", "code", "method"):
                asked.update(evidence.slots(pattern))
    return asked.intersection(evidence.unanswered)


def _decided_by(evidence: Evidence, slot: Slot) -> list[Slot]:
    """The unanswered facts on which hangs what is assumed of a slot; a pack with a ring does not load."""
    facts = ["zone"] if slot[0] == "damaged" else []  # a hidden part in a hit zone is suspected
    if slot[0] == "fact":
        facts = [fact for a in evidence.program.facts[slot[1]].assume for fact, _ in a.when]
    return [s for fact in facts if (s := ("fact", fact)) in evidence.unanswered]


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


def _closure(evidence: Evidence, uncertain: list[Way], numbers: _Numbers) -> dict[Record, int]:
    """For each record made by an uncertain firing the questions it hangs on, through every chain."""
    hangs: dict[Record, int] = {r: 0 for way in uncertain for r in way[1]}
    negative: dict[tuple[str, str], list[Record]] = {}
    for record in hangs:
        negative.setdefault((record.kind, record.subject), []).append(record)
    asked: dict[str, tuple[int, list[Record]]] = {}
    chained: list[tuple[Iterable[Record], tuple[Record, ...]]] = []
    of_record: dict[Record, int] = {}
    for a, makes, firings in uncertain:
        if a.id not in asked:
            asked[a.id] = numbers.of(_asks(evidence, a)), _absent(a, negative)
        mask, absent = asked[a.id]
        rests_on = set(absent)
        for firing in firings:
            for record in firing.records:
                if record not in of_record:
                    of_record[record] = numbers.of(_of_case(evidence, record))
                mask |= of_record[record]
                if record in hangs:
                    rests_on.add(record)
        for record in makes:
            hangs[record] |= mask
        if rests_on:
            chained.append((rests_on, makes))
    changed = bool(chained)
    while changed:
        changed = False
        for inputs, makes in chained:
            mask = 0
            for record in inputs:
                mask |= hangs[record]
            for record in makes:
                if mask & ~hangs[record]:
                    hangs[record] |= mask
                    changed = True
    return hangs


def _of_case(evidence: Evidence, record: Record) -> list[Slot]:
    """The slot of a record of the case, if it is unanswered and somebody can answer it."""
    if record.kind in MADE or record.kind == "procedure":
        return []
    slot = record_slot(record)
    return [slot] if slot in evidence.unanswered else []


def _absent(a: Alternative, made: Mapping[tuple[str, str], list[Record]]) -> list[Record]:
    """Made records an alternative depends on by their absence: what may make them keeps it from being certain."""
    patterns = (p for group in a.unless for p in group if p.kind in ("derived", "severity"))
    return [r for p in patterns for s in p.subjects for r in made.get((p.kind, s), ())]


def _question(evidence: Evidence, weighed: Weighed) -> Question:
    program, id_ = evidence.program, weighed.id
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
    ids = weighed.provisional
    return Question(id_, ask, who, choices, help_, weighed.possible, ids, ids, slots)


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
