"""From a case file to a checked case: every fact, value, system, part and operation looked up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..diagnostics.message import Culprit, InputError, Messages
from ..model.answers import ACTIONS, DAMAGE, DATE_FACT, METHODS
from ..model.case import NOTHING, Answers, Case, Procedure, State
from ..model.catalogue import FactSpec, Value
from ..model.places import expand, join
from ..model.program import Program
from .log import check_date, read_log
from .names import known
from .slots import LISTED, NOT_LISTED, all_said, assemble
from .tree import Tree, read_tree
from .validate import sound_part
from .values import number, read_value

SECTIONS = ("vehicle", "intake", "scan", "lookup", "teardown")
NOT_FACTS = {"vehicle": {"vin", "name"}, "scan": {"codes"}, "lookup": {"methods"}}
SAID_BY = {
    "vehicle": "vehicle data",
    "intake": "intake",
    "scan": "scan",
    "lookup": "look-up",
    "teardown": "teardown",
}


def load_case(path: Path, program: Program, messages: Messages | None = None) -> Case:
    """Read a case file. InputError carries every message at once; warnings stay in `messages`."""
    messages = messages if messages is not None else Messages()
    tree = read_form(path, messages)
    if tree is None:
        raise InputError(messages)
    return build_case(tree, program, messages)


def read_form(path: Path, messages: Messages) -> Tree | None:
    """What of a case file keeps to the schema, before any name is looked up; None when nothing does."""
    tree = read_tree(path, messages)
    return sound_part(tree, "case", messages)[0] if tree else None


def build_case(tree: Tree, program: Program, messages: Messages) -> Case:
    """A case from a tree that keeps to the schema. InputError when `messages` holds an error, old or new."""
    answers = read_answers(tree, program, messages)
    procedures = _procedures(tree, program, answers, messages)
    log = read_log(tree, program, messages)
    date = str(tree.value.get("date", ""))
    if date and check_date(date, tree.at("date"), messages):
        answers.say(("fact", DATE_FACT), frozenset((number(date),)), tree.at("date"), "case")
    _contradictions(answers, program, messages)
    if "vin" in (tree.value.get("vehicle") or {}) or "crash" in tree.value:
        from .crash_facts import computed_answers, vehicle_number

        vehicle_number(tree, program, answers, messages)
        computed_answers(tree, program, answers, messages)
    if messages.errors:
        raise InputError(messages)
    return Case(
        id=str(tree.value["case"]),
        date=date,
        vehicle=tree.value.get("vehicle", {}),
        slots=assemble(answers, program),
        procedures=procedures,
        log=log,
        standing={},
        undone=(),
        file=tree.file,
        answers=answers,
    )


def read_answers(tree: Tree, program: Program, messages: Messages) -> Answers:
    """All answers of a case file, before assumptions."""
    answers = Answers()
    for section in SECTIONS:
        others = NOT_FACTS.get(section, ())
        for id_, raw in (tree.value.get(section) or {}).items():
            if id_ in others:
                continue
            if id_ in program.facts and id_ != DATE_FACT:
                _answer(program.facts[id_], raw, section, tree, program, answers, messages)
            else:
                askable = {fact: spec for fact, spec in program.facts.items() if fact != DATE_FACT}
                known(id_, askable, "fact", tree.key(section, id_), messages)
    _fitted(tree, program, answers, messages)
    _scan_and_lookup(tree, program, answers, messages)
    _parts(tree, program, answers, messages)
    return answers


def _answer(
    spec: FactSpec,
    raw: Any,
    section: str,
    tree: Tree,
    program: Program,
    answers: Answers,
    messages: Messages,
) -> None:
    span = tree.at(section, spec.id)
    if section not in spec.sections:
        right = " or ".join(f"`{s}:`" for s in spec.sections)
        text = f"`{spec.id}` is not answered under `{section}`"
        messages.add("KN301", text, tree.key(section, spec.id), next_step=f"move it to {right}")
        return
    values = read_value(spec, raw, tree, (section, spec.id), program, messages)
    if values is None:
        return
    slot, by = ("fact", spec.id), SAID_BY[section]
    earlier = answers.said.get(slot)
    if values == "unknown":
        if earlier is None:
            answers.said[slot] = State(None, NOTHING, span, by)
        return
    if earlier is not None and earlier.known not in (None, values):
        text = f"`{spec.id}` is answered twice; the later finding stands"
        first, second = Culprit(earlier.span, "first answer"), Culprit(span, "stands")
        messages.add(
            "KN302", text, second, first, next_step="nothing, if the later one is right", level="note"
        )
    answers.say(slot, values, span, by)


def _fitted(tree: Tree, program: Program, answers: Answers, messages: Messages) -> None:
    fitted = tree.value.get("fitted") or {}
    for word, values in (("no", NOT_LISTED), ("yes", LISTED)):
        listed = fitted.get(word, [])
        if isinstance(listed, str):
            if listed == "all_others":
                answers.none_other_fitted = True
            else:
                step = "write a list of systems, or `all_others` once the build data was read"
                messages.add(
                    "KN307", f"`{listed}` is not a list of systems", tree.at("fitted", word), next_step=step
                )
            continue
        for i, system in enumerate(listed):
            span, slot = tree.at("fitted", word, i), ("fitted", system)
            if not known(system, program.systems, "system", span, messages):
                continue
            if slot in answers.said and answers.said[slot].known != values:
                text = f"`{system}` is listed as fitted and as not fitted"
                messages.add(
                    "KN308", text, span, answers.said[slot].span, next_step="keep the one that is true"
                )
            answers.say(slot, values, span, "equipment list")


def _scan_and_lookup(tree: Tree, program: Program, answers: Answers, messages: Messages) -> None:
    codes = (tree.value.get("scan") or {}).get("codes") or {}
    for word in ("yes", "no"):
        for i, system in enumerate(codes.get(word, [])):
            span = tree.at("scan", "codes", word, i)
            if known(system, program.systems, "system", span, messages):
                answers.say(("code", system), frozenset((word,)), span, "scan")
    for system, method in ((tree.value.get("lookup") or {}).get("methods") or {}).items():
        span = tree.at("lookup", "methods", system)
        ok = known(system, program.systems, "system", tree.key("lookup", "methods", system), messages)
        if method != "unknown" and known(method, METHODS, "calibration method", span, messages) and ok:
            answers.say(("method", system), frozenset((method,)), span, "look-up")


def _parts(tree: Tree, program: Program, answers: Answers, messages: Messages) -> None:
    for i, raw in enumerate(tree.value.get("parts") or []):
        path, span = ("parts", i), tree.at("parts", i, "part")
        if not known(raw["part"], program.parts, "part", span, messages):
            continue
        places = _part_places(raw, path, tree, program, messages)
        actions = [str(a) for a in raw.get("actions", []) if a != "none"]
        good = [
            known(a, ACTIONS, "action", tree.at(*path, "actions", j), messages) for j, a in enumerate(actions)
        ]
        damage = raw.get("damage")
        if damage not in (None, "unknown"):
            known(damage, DAMAGE, "kind of damage", tree.at(*path, "damage"), messages)
        for place in places:
            slot = ("touched", raw["part"], place)
            if "actions" in raw and all(good):
                before = answers.said[slot].value if slot in answers.said else NOTHING
                answers.say(slot, before | frozenset(actions), span, "parts list")
            if damage not in (None, "unknown"):
                values, at = frozenset[Value]((str(damage),)), tree.at(*path, "damage")
                told = answers.said.get(("damaged", raw["part"], place))
                if told is not None and told.known != values:
                    text = f"the damage of `{raw['part']}` is given twice; the later entry stands"
                    messages.add("KN302", text, at, told.span, next_step="keep one", level="note")
                answers.say(("damaged", raw["part"], place), values, at, "parts list")


def _part_places(
    raw: dict[str, Any], path: tuple[str | int, ...], tree: Tree, program: Program, messages: Messages
) -> tuple[str, ...]:
    """The places a part entry means: one side of a sided part, both when no side is given."""
    part, side = program.parts[raw["part"]], raw.get("side", "")
    if not side:
        if len(part.places) > 1:
            text = f"`{part.id}` has a left and a right; no side given, so both are meant"
            messages.add(
                "KN309", text, tree.at(*path, "part"), next_step="add `side:` if it is one", level="note"
            )
        return part.places
    options = {side, join(part.end if part.end in ("front", "rear") else "", side)}
    found = tuple(p for p in part.places if p in options) or tuple(
        p for p in part.places if p and part.end == "by_wheel" and p in expand(side, "corner")
    )
    if not found:
        fit = ", ".join(part.places)
        text = f"`{part.id}` has no `{side}`"
        step = f"it takes: {fit}" if len(part.places) > 1 else "leave `side:` out; there is one only"
        messages.add("KN310", text, tree.at(*path, "side"), next_step=step)
    return found


def _procedures(tree: Tree, program: Program, answers: Answers, messages: Messages) -> dict[str, Procedure]:
    found: dict[str, Procedure] = {}
    for i, raw in enumerate(tree.value.get("procedures") or []):
        span, operation = tree.at("procedures", i, "operation"), raw["operation"]
        if not known(operation, program.operations, "operation", span, messages):
            continue
        if operation in found:
            text = f"`{operation}` has two look-ups"
            messages.add("KN311", text, span, found[operation].span, next_step="keep the newer one")
        verdict = raw["verdict"]
        answers.say(("procedure", operation), frozenset((verdict,)), span, "procedure look-up")
        found[operation] = Procedure(
            operation,
            raw["document"],
            str(raw.get("version", "")),
            raw["looked_up"],
            verdict,
            raw.get("limits", {}),
            span,
        )
    return found


def _contradictions(answers: Answers, program: Program, messages: Messages) -> None:
    """Answers that cannot all be true are refused, with every place."""
    for item in program.impossible:
        if all_said(answers, item.tests):
            spans = [answers.said[kind, id_].span for kind, id_, _ in item.tests]
            messages.add(
                "KN314", f"these answers exclude each other: {item.title}", *spans, next_step="correct one"
            )
