"""From a scenario's imagined facts to a case, through the same assembly as a real one."""

from __future__ import annotations

from typing import Any

from ..diagnostics.message import InputError, Messages
from ..model.answers import ACTIONS, DAMAGE, DATE_FACT, METHODS, VERDICTS
from ..model.case import NOTHING, Answers, Case, Entry, State
from ..model.places import PLACES
from ..model.program import Program
from ..model.rule import Scenario
from .log import split_line_id
from .names import as_list, known
from .slots import assemble
from .tree import Tree
from .values import number, read_value


def scenario_case(scenario: Scenario, program: Program) -> Case:
    """The case a scenario imagines. InputError when it names something unknown."""
    messages = Messages()
    given: dict[str, Any] = dict(scenario.given)
    answers = Answers(rest_clear=given.get("rest", "clear") == "clear")
    tree = Tree(scenario.span.file, given, {(): scenario.span})
    _facts(given.get("facts", {}), tree, program, answers, messages)
    for word, key in (("yes", "fitted"), ("no", "not_fitted")):
        for system in given.get(key, []):
            if known(system, program.systems, "system", scenario.span, messages):
                answers.say(("fitted", system), frozenset((word,)))
    for part in given.get("parts", []):
        _part(part, scenario, program, answers, messages)
    for system, method in given.get("methods", {}).items():
        known(system, program.systems, "system", scenario.span, messages)
        known(method, METHODS, "calibration method", scenario.span, messages)
        answers.say(("method", system), frozenset((method,)))
    for system in given.get("codes", []):
        if known(system, program.systems, "system", scenario.span, messages):
            answers.say(("code", system), frozenset(("yes",)))
    for operation, verdict in given.get("procedures", {}).items():
        known(verdict, VERDICTS, "verdict", scenario.span, messages)
        if known(operation, program.operations, "operation", scenario.span, messages):
            answers.say(("procedure", operation), frozenset((verdict,)))
    date = given.get("date", program.packs[0].date)
    answers.say(("fact", DATE_FACT), frozenset((number(date),)))
    results = _results(given.get("results", {}), scenario, program, messages)
    if messages.errors:
        raise InputError(messages)
    slots = assemble(answers, program)
    for (operation, place), entry in results.items():
        slots[("result", operation, place)] = State(frozenset((entry.result,)))
    return Case(scenario.name, date, {}, slots, {}, tuple(results.values()), results, (), answers=answers)


def _facts(raw: dict[str, Any], tree: Tree, program: Program, answers: Answers, messages: Messages) -> None:
    for id_, value in raw.items():
        if not known(id_, program.facts, "fact", tree.at(), messages):
            continue
        spec = program.facts[id_]
        if spec.type in ("number", "date") and not isinstance(value, str):
            answers.say(("fact", id_), frozenset((float(value),)))
            continue
        values = read_value(spec, value, tree, (), program, messages)
        if values == "unknown":
            answers.said[("fact", id_)] = State(None)
        elif values is not None:
            answers.say(("fact", id_), values)


def _part(
    raw: dict[str, Any], scenario: Scenario, program: Program, answers: Answers, messages: Messages
) -> None:
    if not known(raw["part"], program.parts, "part", scenario.span, messages):
        return
    part, side = program.parts[raw["part"]], raw.get("side", "")
    places = [
        p for p in part.places if not side or side == p or p.endswith(f"_{side}") or p.startswith(f"{side}_")
    ]
    if not places:
        messages.add("KN310", f"`{part.id}` has no `{side}`", scenario.span, next_step="leave `side:` out")
    for place in places:
        words = [str(a) for a in as_list(raw.get("actions")) if a != "none"]
        actions = frozenset(w for w in words if known(w, ACTIONS, "action", scenario.span, messages))
        answers.say(("touched", part.id, place), actions)
        damage = raw.get("damage", "none")
        known(damage, DAMAGE, "kind of damage", scenario.span, messages)
        answers.say(("damaged", part.id, place), NOTHING if damage == "none" else frozenset((damage,)))


def _results(
    raw: dict[str, str], scenario: Scenario, program: Program, messages: Messages
) -> dict[tuple[str, str], Entry]:
    found = {}
    for line, outcome in raw.items():
        operation, place = split_line_id(line)
        good = known(place, PLACES, "place", scenario.span, messages)
        if known(operation, program.operations, "operation", scenario.span, messages) and good:
            found[operation, place] = Entry("2000-01-01", operation, place, outcome)
    return found
