"""A third reading of a program, for a general-purpose rule engine: the model said again as CLIPS rules.

Written from the meaning in the model alone; it shares nothing with the two evaluators under test. Slots are
facts tagged `known` or `unknown`; each alternative becomes three rules, one for each reading of the unknowns.
Strata are saliences: a rule that looks at something through `not` waits until what makes it has run dry.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import clips
from knockon.engine.model.case import Case
from knockon.engine.model.catalogue import Test, Value
from knockon.engine.model.outcome import FIRM, POSSIBLE, PROVISIONAL, Firing, Record
from knockon.engine.model.program import Program
from knockon.engine.model.rule import Alternative, Effect, Pattern

PASSES = (FIRM, PROVISIONAL, POSSIBLE)
PLACES = ("", "left", "right", "front", "rear", "front_left", "front_right", "rear_left", "rear_right")
KEPT = {"vehicle": PLACES[:1], "side": PLACES[1:3], "end": PLACES[3:5], "corner": PLACES[5:]}
LOOKS_AT = {FIRM: POSSIBLE, PROVISIONAL: PROVISIONAL, POSSIBLE: FIRM}
MAKES = {"plan": "planned", "conclude": "derived", "fits": "fitted"}
FUNCTIONS = """
(deffunction any-of (?wanted ?values)
  (progn$ (?w ?wanted) (if (member$ ?w ?values) then (return TRUE)))
  (return FALSE))
(deffunction at-least (?bound ?values)
  (progn$ (?v ?values) (if (>= ?v ?bound) then (return TRUE)))
  (return FALSE))
(deffunction below (?bound ?values)
  (progn$ (?v ?values) (if (< ?v ?bound) then (return TRUE)))
  (return FALSE))
"""


def together(one: str, other: str) -> bool:
    """Whether two places can be one: they do not contradict each other in side or end."""
    words = {*one.split("_"), *other.split("_")}
    return not {"left", "right"} <= words and not {"front", "rear"} <= words


def text(word: str) -> str:
    """A string in CLIPS' spelling."""
    return '"' + word.replace("\\", "\\\\").replace('"', '\\"') + '"'


def literal(value: Value) -> str:
    """A value in CLIPS' spelling."""
    return text(value) if isinstance(value, str) else repr(float(value))


def one_of(words: Iterable[str]) -> str:
    """A constraint on one field: any of these words; a symbol that never occurs when there is none."""
    return "|".join(text(w) for w in words) or "never"


@dataclass(slots=True)
class Conjunction:
    """The left side of one rule in one pass, and the fields of the records it matched."""

    program: Program
    standing: str
    prefix: str
    lines: list[str] = field(default_factory=list)
    fields: list[tuple[str, str, str, str]] = field(default_factory=list)

    def ask(self, pattern: Pattern) -> None:
        """A condition that holds or not, whatever it matches."""
        inner = Conjunction(self.program, self.standing, f"{self.prefix}{len(self.lines)}g")
        inner.record(pattern)
        self.lines.append(f"(exists {' '.join(inner.lines)})")

    def record(self, pattern: Pattern) -> None:
        """A condition that picks a record; fields nobody named get names of their own."""
        own = f"{self.prefix}{len(self.fields)}"
        subject = f"?{pattern.variable[1:]}" if pattern.variable else f"?s{own}"
        place = f"?{pattern.place[1:]}" if pattern.place.startswith("$") else f"?p{own}"
        system = text("")
        named, where = self._subject(pattern, subject), place
        if pattern.place and not pattern.place.startswith("$"):
            where = f"{place}&{one_of(p for p in PLACES if together(p, pattern.place))}"
        if pattern.kind in ("derived", "severity", "planned", "fitted"):
            self.lines.append(f"(have {self.standing} {pattern.kind} {named} {where})")
        elif pattern.kind == "fact" and pattern.place:
            system = f"?x{own}"
            self.lines.append(f"(value {self.standing} {named} {system}{self._single(pattern)} {where})")
        else:
            self.lines.append(f"({pattern.kind} {named} {where} {self._values(pattern, own)})")
        if pattern.relation_variable:
            system = f"?{pattern.relation_variable[1:]}"
            self.lines.append(f"({pattern.relation} {subject} {system})")
        elif pattern.relation:
            self.lines.append(f"(exists ({pattern.relation} {subject} {one_of(pattern.systems)}))")
        self.fields.append((pattern.kind, subject, place, system))

    def _subject(self, pattern: Pattern, subject: str) -> str:
        allowed = list(pattern.subjects)
        if pattern.kinds:
            operations = self.program.operations.values()
            allowed = [
                o.id for o in operations if o.kind in pattern.kinds and (not allowed or o.id in allowed)
            ]
        if not (allowed or pattern.kinds):
            return subject
        if pattern.variable:  # as a test, not a constant: CLIPS refuses a name that could never be met
            return f"{subject}&:(member$ {subject} (create$ {' '.join(text(w) for w in allowed)}))"
        return f"{subject}&{one_of(allowed)}"

    def _single(self, pattern: Pattern) -> str:
        """The test of a fact, put to one of its values."""
        test = pattern.test or Test("some")
        if test.op == "not_known":
            return "&never"
        if test.op == "none_of":
            return "".join(f"&~{literal(v)}" for v in test.values)
        return "" if test.op == "some" else f"&{'|'.join(literal(v) for v in test.values)}"

    def _values(self, pattern: Pattern, own: str) -> str:
        """Tag and values of a slot, and the test this pass puts to them."""
        test, values = pattern.test or Test("some"), f"$?v{own}"
        if test.op == "not_known":
            return {FIRM: "never"}.get(self.standing, "unknown") + " $?"
        words = " ".join(literal(v) for v in test.values)
        holds = {
            "any_of": f"(any-of (create$ {words}) {values})",
            "none_of": f"(not (any-of (create$ {words}) {values}))",
            "some": f"(> (length$ {values}) 0)",
            "at_least": f"(at-least {words} {values})",
            "below": f"(below {words} {values})",
        }[test.op]
        if self.standing == PROVISIONAL:
            return f"? {values}&:{holds}"
        # what an unread procedure may turn out to say: anything but that the work is not required
        if self.standing == POSSIBLE and (pattern.kind != "procedure" or set(test.values) - {"not_required"}):
            return f"?t{own} {values}&:(or (eq ?t{own} unknown) {holds})"
        return f"known {values}&:{holds}"


class ClipsEngine:
    """One CLIPS environment for one program."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.fired: dict[str, set[Firing]] = {}
        self.made: dict[str, set[Record]] = {}
        self.env = clips.Environment()
        self.env.define_function(self._fire, "fire")
        self.env.define_function(self._make, "make")
        for function in FUNCTIONS.strip().split("\n(deffunction"):
            self.env.build(function if function.startswith("(") else "(deffunction" + function)
        self.env.build(self._known_of_parts())
        for rule in self._bridges():
            self.env.build(rule)
        for a in program.alternatives:
            for standing in PASSES:
                self.env.build(self._rule(a, standing))

    def _known_of_parts(self) -> str:
        """What never changes: parts and systems, values and places, places and how things are kept."""
        rows = []
        for part in self.program.parts.values():
            for relation in ("carries", "covers", "near"):
                rows += [f"({relation} {text(part.id)} {text(s)})" for s in sorted(getattr(part, relation))]
        for fact in self.program.facts.values():
            rows += [f"(means {text(fact.id)} {text(v)} {text(p)})" for v, p in fact.places.items()]
        kept = [("derived", d.id, d.per) for d in self.program.derived.values()]
        kept += [("operation", o.id, o.per) for o in self.program.operations.values()]
        rows += [f"(kept {kind} {text(id_)} {text(p)})" for kind, id_, per in kept for p in KEPT[per]]
        rows += [f"(together {text(a)} {text(b)})" for a in PLACES for b in PLACES if together(a, b)]
        return f"(deffacts trade {' '.join(rows)})"

    def _bridges(self) -> Iterator[str]:
        """What each pass makes of facts with places and of fitted systems, and places of what rules want."""
        now = "(declare (salience 9000))"
        for standing in PASSES:
            tag = "?" if standing == PROVISIONAL else "known"
            value, have = f"(value {standing} ?f ?v ?p)", f"(have {standing} fitted ?s {text('')})"
            means = "(means ?f ?v ?p)"
            yield f"(defrule value-{standing} {now} (fact ?f ? {tag} $? ?v $?) {means} => (assert {value}))"
            yield f'(defrule fitted-{standing} {now} (fitted ?s ? {tag} $? "yes" $?) => (assert {have}))'
            if standing == POSSIBLE:
                yield f"(defrule value-open {now} (fact ?f ? unknown $?) {means} => (assert {value}))"
                yield f"(defrule fitted-open {now} (fitted ?s ? unknown $?) => (assert {have}))"
            wanted = f"(wants {standing} ?k ?c ?id ?where) (together ?where ?p) (kept ?c ?id ?p)"
            yield f"(defrule placed-{standing} {now} {wanted} => {_make(standing, '?k', '?id', '?p')})"

    def _rule(self, a: Alternative, standing: str) -> str:
        left = Conjunction(self.program, standing, "")
        for pattern in a.ground:
            left.ask(pattern)
        for pattern in a.records:
            left.record(pattern)
        for i, group in enumerate(a.unless):
            other = Conjunction(self.program, LOOKS_AT[standing], f"u{i}_")
            for pattern in group:
                other.record(pattern)
            left.lines.append(f"(not (and {' '.join(other.lines)}))")
        matched = " ".join(f"{kind} {s} {p} {x}" for kind, s, p, x in left.fields)
        right = [f"(fire {standing} {text(a.id)} {matched})"]
        for effect in a.effects:
            right += self._effect(effect, standing)
        head = f"(declare (salience {-10 * a.stratum}))"
        return f"(defrule {text_free(a.id)}-{standing} {head} {' '.join(left.lines)} => {' '.join(right)})"

    def _effect(self, effect: Effect, standing: str) -> Iterator[str]:
        place = f"?{effect.place[1:]}" if effect.place.startswith("$") else text(effect.place)
        if effect.place == "all":
            place = text("")
        for subject in effect.subjects:
            name = f"?{subject[1:]}" if subject.startswith("$") else text(subject)
            kind = MAKES.get(effect.verb, effect.verb)
            if kind == "severity":
                for level in range(1, int(subject) + 1):
                    yield _make(standing, kind, text(str(level)), text(""))
            elif kind == "fitted":
                yield _make(standing, kind, name, text(""))
            else:
                catalogue = "derived" if kind == "derived" else "operation"
                yield f"(assert (wants {standing} {kind} {catalogue} {name} {place}))"

    def _fire(self, standing: str, alternative: str, *fields: str) -> None:
        four = [fields[i : i + 4] for i in range(0, len(fields), 4)]
        self.fired[standing].add(Firing(alternative, tuple(Record(*map(str, f)) for f in four)))

    def _make(self, standing: str, kind: str, subject: str, place: str) -> None:
        self.made[standing].add(Record(str(kind), subject, place))

    def run(self, case: Case) -> dict[str, tuple[set[Firing], set[Record]]]:
        """The firings and made records of the three passes over a case."""
        self.fired = {s: set() for s in PASSES}
        self.made = {s: set() for s in PASSES}
        self.env.reset()
        self.env.eval(f"(assert {' '.join(self._slots(case))})")
        self.env.run()
        return {s: (self.fired[s], self.made[s]) for s in PASSES}

    def _slots(self, case: Case) -> Iterator[str]:
        slots = dict(case.slots)
        for fact in self.program.facts:
            slots.setdefault(("fact", fact), case.state(("fact", fact)))
        for slot, state in slots.items():
            kind, subject, place = slot[0], slot[1], slot[2] if len(slot) > 2 else ""
            if kind == "result" and (subject, place) not in case.standing:
                continue
            tag = "unknown" if state.known is None else "known"
            values = " ".join(sorted(literal(v) for v in state.value))
            yield f"({kind} {text(subject)} {text(place)} {tag} {values})"


def _make(standing: str, kind: str, subject: str, place: str) -> str:
    """The right side that makes a record, for the rules and for us."""
    record = f"{standing} {kind} {subject} {place}"
    return f"(assert (have {record})) (make {record})"


def text_free(id_: str) -> str:
    """A rule name CLIPS takes: letters and digits of an id, and the rest by number."""
    return "".join(c if c.isalnum() and c.isascii() else f"_{ord(c)}_" for c in id_)
