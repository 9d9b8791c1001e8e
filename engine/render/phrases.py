"""Conditions, facts and answers as phrases, from the vocabulary's own titles."""

from __future__ import annotations

from ..explain.facts import value_words
from ..measure.figures import say
from ..model.answers import ACTION_WORDS
from ..model.case import Slot
from ..model.catalogue import Test, Value
from ..model.plan import FactSeen, ReadingSeen, SourceSeen
from ..model.program import Program
from ..model.rule import Pattern

STRENGTH_SHORT = {
    "required": "REQUIRED",
    "unless_procedure": "UNLESS PROCEDURE",
    "check_whether": "CHECK WHETHER",
}
KIND_OF_FACT = {"observed": "", "derived": "concluded", "assumed": "assumed"}


def fact_words(fact: FactSeen) -> str:
    """`damage area: front (intake)`; assumed and concluded facts say so."""
    yes = fact.origin == "derived" and fact.value == "yes"
    value = "" if yes else f": {fact.value.replace('_', ' ') if fact.origin == 'derived' else fact.value}"
    mark = KIND_OF_FACT[fact.origin] or fact.said_by
    return f"{fact.title}{value}" + (f" ({mark})" if mark else "")


def source_words(source: SourceSeen) -> str:
    """A source and the place in it."""
    return source.title + (f", {source.at}" if source.at else "")


def _or(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]


def pattern_words(pattern: Pattern, program: Program) -> str:
    """A condition as a phrase a person can check."""
    kind, test = pattern.kind, pattern.test or Test("some")
    place = (
        f" ({pattern.place.replace('_', ' ')})" if pattern.place and not pattern.place.startswith("$") else ""
    )
    if kind == "fact":
        return _fact(pattern, test, program) + place
    if kind == "severity":
        return f"severity is at least {pattern.subjects[0]}"
    if kind == "derived":
        return program.derived[pattern.subjects[0]].title + place
    if kind in ("touched", "damaged"):
        return _part(pattern, test, program) + place
    if kind in ("fitted", "code", "method"):
        systems = [program.systems[s].title for s in pattern.subjects] or ["any system"]
        end = {"fitted": " is fitted", "code": " has a trouble code", "method": ": calibration method is "}[
            kind
        ]
        return _or(systems) + end + (_or([str(v) for v in test.values]) if kind == "method" else "")
    operations = [program.operations[o].title for o in pattern.subjects] or ["any operation"]
    if kind == "planned":
        return f"{_or(operations)} is on the plan{place}"
    end = " came out as " if kind == "result" else ": the procedure says "
    return _or(operations) + place + end + _or([str(v).replace("_", " ") for v in test.values])


def _fact(pattern: Pattern, test: Test, program: Program) -> str:
    spec = program.facts[pattern.subjects[0]]
    if test.op == "not_known":
        return f"{spec.title} is not known yet"
    if test.op == "some":
        return f"{spec.title}: at least one"
    values = [value_words(spec.id, v, program) for v in test.values]
    word = {"any_of": "is", "none_of": "is not", "at_least": "is at least", "below": "is below"}[test.op]
    if spec.type == "set":
        word = {"any_of": "includes", "none_of": "does not include"}.get(test.op, word)
    return f"{spec.title} {word} {_or(values)}"


def _part(pattern: Pattern, test: Test, program: Program) -> str:
    if pattern.subjects:
        named = _or([program.parts[p].title for p in pattern.subjects])
    elif pattern.systems:
        verb = {"carries": "carries", "covers": "covers", "near": "is next to"}[pattern.relation]
        named = f"a part that {verb} the " + _or([program.systems[s].title for s in pattern.systems])
    else:
        named = "any part"
    if pattern.kind == "damaged":
        return f"{named} is {_or([str(v) for v in test.values])}"
    words = [ACTION_WORDS[str(v)] for v in test.values]
    return f"{named} is worked on" if len(words) == len(ACTION_WORDS) else f"{named} is {_or(words)}"


def slot_words(slot: Slot, values: frozenset[Value], program: Program) -> str:
    """An answer as a person would write it: `windscreen: replaced`."""
    kind, subject = slot[0], slot[1]
    place = f" {slot[2].replace('_', ' ')}" if len(slot) > 2 and slot[2] not in ("", "front", "rear") else ""
    given = sorted(values, key=str)
    if kind == "fact":
        return f"{program.facts[subject].title}: {', '.join(value_words(subject, v, program) for v in given) or 'none'}"
    if kind in ("touched", "damaged"):
        words = [ACTION_WORDS.get(str(v), str(v)) for v in given]
        return f"{program.parts[subject].title}{place}: {', '.join(words) or 'none'}"
    if kind in ("fitted", "code", "method"):
        what = {"fitted": "fitted", "code": "trouble code", "method": "calibration method"}[kind]
        return f"{program.systems[subject].title}, {what}: {', '.join(map(str, given))}"
    says = "the procedure says " if kind == "procedure" else ""
    return f"{program.operations[subject].title}{place}: {says}{', '.join(map(str, given))}".replace("_", " ")


def range_words(low: float, high: float, unit: str) -> str:
    """`-1 to 1 kg`, or one figure when the range is a point."""
    figures = say(low) if low == high else f"{say(low)} to {say(high)}"
    return f"{figures} {unit}".rstrip()


def limit_words(reading: ReadingSeen) -> str:
    """The limits in words; empty when there are none."""
    low, high, unit = reading.limit_low, reading.limit_high, reading.unit
    if low is not None and high is not None:
        return range_words(low, high, unit)
    if low is not None:
        return f"at least {say(low)} {unit}".rstrip()
    return "" if high is None else f"at most {say(high)} {unit}".rstrip()


def reading_words(reading: ReadingSeen) -> str:
    """Everything the picture shows, as one sentence."""
    taken = f" ({reading.count} readings)" if reading.count > 1 else ""
    limits = limit_words(reading)
    words = [f"{reading.name}: {range_words(reading.low, reading.high, reading.unit)}{taken}"]
    words.append(f"limits {limits}" if limits else "no limit on file")
    if reading.earlier_low is not None and reading.earlier_high is not None:
        words.append(f"earlier {range_words(reading.earlier_low, reading.earlier_high, reading.unit)}")
    if reading.uncertainty:
        words.append(f"uncertainty ±{say(reading.uncertainty)} {reading.unit}".rstrip())
    words.append(f"verdict: {reading.verdict}")
    return "; ".join(words)
