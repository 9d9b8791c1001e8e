"""The QA lead's bench as text and JSON: scenarios and coverage, the matrix, the effect of a change."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ..infer.lacking import APART, BLOCKED, Lack
from ..model.program import Program
from ..review.coverage import NEVER, RuleCover
from ..review.matrix import ALONE, MORE, WHOLE_VEHICLE, Ask, Matrix
from ..review.scenarios import Near, Shortfall, Trial, Verdict
from ..review.tally import Cause, Group, Same, Tally
from .messages import messages_text
from .phrases import pattern_words
from .plain import Page, clean
from .plan_json import plain
from .words import STRENGTH, several

MOST_LISTED = 8
MARKS = {"required": "R", "unless_procedure": "U", "check_whether": "?"}
MORE_MARK, ANYWAY_MARK, HOLE = "+", ".", "--"
SHORT = {
    "unknown": "is not known to these packs",
    "missing": "is not on the plan",
    "strength": "has another strength",
    "extra": "must not be there, and is",
    "not_fired": "should fire, and does not",
    "fired": "should nearly fire, and fires",
    "not_near": "should lack one condition, and lacks more",
    "not_held": "is not held as stated",
    "not_void": "is not void as stated",
    "severity": "is another",
    "whole_plan": "differs from the whole plan stated",
}
KIND_WORDS = {
    "lost": "lost",
    "weaker": "weaker",
    "not_held": "no longer held",
    "not_void": "no longer void",
    "less_firm": "less firm",
    "held": "now held",
    "void": "now void",
    "added": "added",
    "stronger": "stronger",
    "firmer": "firmer",
    "not_possible": "no longer possible",
    "possible": "now possible",
}


def trial_text(trial: Trial, program: Program, page: Page, every: bool = False) -> str:
    """Failed scenarios with what was near, then coverage; `every` lists each condition."""
    failed = [v for v in trial.verdicts if not v.passed and not v.changed_above]
    changed = [v for v in trial.verdicts if v.changed_above]
    passed = len(trial.verdicts) - len(failed) - len(changed)
    above = f", {len(changed)} changed by the packs above" if changed else ""
    parts = [f"{several(len(trial.verdicts), 'scenario')}: {passed} passed, {len(failed)} failed{above}"]
    for verdict in (*failed, *changed):
        parts += _verdict(verdict, program, page)
    return "\n".join([*parts, *_coverage(trial.coverage, page, every)]) + "\n"


def _verdict(verdict: Verdict, program: Program, page: Page) -> Iterator[str]:
    yield ""
    yield page.emphasise(
        page.wrap(verdict.scenario.name, first="CHANGED  " if verdict.changed_above else "FAILED  ", hang=8),
        "strong",
    )
    yield page.wrap(verdict.scenario.span, indent=8)
    if verdict.messages is not None:
        yield messages_text(verdict.messages, page)
    for short in verdict.shortfalls:
        yield page.wrap(f"{short.subject} {SHORT[short.kind]}{_versus(short)}", first="  - ", hang=4)
        for near in short.near:
            yield from _near(near, program, page)


def _versus(short: Shortfall) -> str:
    parts = [f"expected {short.expected}"] if short.expected else []
    parts += [f"got {short.got}"] if short.got else []
    parts += [f"asked for by {', '.join(short.rules)}"] if short.rules else []
    return ": " + "; ".join(parts) if parts else ""


def _near(near: Near, program: Program, page: Page) -> Iterator[str]:
    lead = f"    {near.rule.id} "
    yield page.wrap(f"({near.rule.span}) lacks {several(len(near.lacks), 'condition')}:", first=lead, hang=9)
    for lack in near.lacks:
        yield page.wrap(_lack(lack, program), first="         - ", hang=11)


def _lack(lack: Lack, program: Program) -> str:
    said = " and ".join(pattern_words(p, program) for p in lack.patterns)
    if lack.kind == BLOCKED:
        return f"blocked, because: {said}"
    return f"{said}: not at the same place as the rest" if lack.kind == APART else said


def _coverage(coverage: tuple[RuleCover, ...], page: Page, every: bool) -> Iterator[str]:
    conditions = [c for rule in coverage for c in rule.conditions]
    yield page.heading("COVERAGE")
    never = [r.rule.id for r in coverage if r.state == NEVER or not r.fired]
    unconditional = [r for r in coverage if not r.conditions]
    blunt = [r.rule.id for r in coverage if r.conditions and not r.nearly]
    near = len(coverage) - len(unconditional) - len(blunt)
    yield f"rules:      {len(coverage)}; fired {len(coverage) - len(never)}, nearly fired {near}"
    held, alone = sum(c.fired > 0 for c in conditions), sum(c.nearly > 0 for c in conditions)
    yield f"conditions: {len(conditions)}; held while their rule fired {held}, alone lacking {alone}"
    for text, rules in (("never fired", never), ("never lack exactly one condition", blunt)):
        if rules:
            yield page.wrap(f"{text}: {', '.join(rules)}", hang=2, first="")
    if unconditional:
        ids = ", ".join(r.rule.id for r in unconditional)
        yield page.wrap(f"without conditions, so never nearly: {ids}", hang=2, first="")
    for condition in conditions if every else ():
        row = f"  {condition.id:<24} held {condition.fired:>4}  alone lacking {condition.nearly:>4}"
        yield f"{row}  {'' if condition.fired and condition.nearly else 'untested'}".rstrip()
    if not every:
        yield "`--conditions` lists every condition by its id."


def trial_data(trial: Trial) -> dict[str, Any]:
    """Verdicts and coverage as plain data."""
    return {
        "scenarios": [
            {
                "name": v.scenario.name,
                "at": str(v.scenario.span),
                "passed": v.passed,
                "changed_above": v.changed_above,
                "problems": [m.text for m in v.messages] if v.messages else [],
                "shortfalls": [_short_data(s) for s in v.shortfalls],
            }
            for v in trial.verdicts
        ],
        "coverage": [
            {
                "rule": r.rule.id,
                "pack": r.rule.pack,
                "state": r.state,
                "fired": r.fired,
                "nearly": r.nearly,
                "conditions": [plain(c) for c in r.conditions],
            }
            for r in trial.coverage
        ],
    }


def _short_data(short: Shortfall) -> dict[str, Any]:
    near = [{"rule": n.rule.id, "at": str(n.rule.span), "lacks": plain(n.lacks)} for n in short.near]
    return {
        **{k: plain(getattr(short, k)) for k in ("kind", "subject", "expected", "got", "rules")},
        "near": near,
    }


def matrix_mark(asks: tuple[Ask, ...]) -> str:
    """One cell in one or two characters: the strongest of what is asked for there."""
    if not asks:
        return HOLE
    return (
        MARKS[asks[0].strength] if asks[0].how == ALONE else MORE_MARK if asks[0].how == MORE else ANYWAY_MARK
    )


def matrix_text(matrix: Matrix, program: Program, page: Page) -> str:
    """The grid with numbered columns, and the holes in words."""
    numbers = [f"{n:>3}" for n in range(1, len(matrix.columns) + 1)]
    parts = ["SYSTEMS AGAINST KINDS OF EVENT", ""]
    parts += [
        page.wrap(c.title, first=f" {n} ", hang=5) for n, c in zip(numbers, matrix.columns, strict=True)
    ]
    parts += ["", " " * 22 + "".join(numbers)]
    for row in matrix.rows:
        marks = "".join(f"{matrix_mark(matrix.cells[row, c.id]):>3}" for c in matrix.columns)
        parts.append(f"{row or '(whole vehicle)':<22}{marks}")
    parts += ["", *(f"  {mark:>2}  {words}" for mark, words in matrix_key()), ""]
    empty = [r for r in matrix.rows if all(not matrix.cells[r, c.id] for c in matrix.columns)]
    named = [program.systems[r].title if r != WHOLE_VEHICLE else "the whole vehicle" for r in empty]
    if empty:
        parts.append(page.wrap(f"No rule ever asks for anything for: {'; '.join(named)}.", first="", hang=2))
    return "\n".join(parts) + "\n"


def matrix_key() -> list[tuple[str, str]]:
    """What each mark means."""
    told = [(mark, f"{STRENGTH[s]}, on the event alone") for s, mark in MARKS.items()]
    more = (MORE_MARK, "only when further facts say so")
    anyway = (ANYWAY_MARK, "only when further facts say so, whatever the event was")
    return [*told, more, anyway, (HOLE, "a hole: no rule can ask for anything here")]


def matrix_data(matrix: Matrix) -> dict[str, Any]:
    """The matrix as plain data; one entry for every rule that asks in a cell."""
    columns = [{"id": c.id, "title": c.title} for c in matrix.columns]
    cells = [
        {"system": row, "column": c.id, "asks": plain(matrix.cells[row, c.id])}
        for row in matrix.rows
        for c in matrix.columns
    ]
    return {"columns": columns, "cells": cells}


def effect_text(tally: Tally, page: Page) -> str:
    """What changed, by cause, most severe first; then what could not be compared."""
    head = f"{several(tally.cases, 'case')}: {tally.changed} with another plan, "
    parts = [head + f"{tally.cases - tally.changed - tally.left_out} unchanged"]
    for same, words in _left_out(tally):
        parts.append(page.wrap(f"{several(same.cases, 'case')} {words}:", first="  ", hang=4))
        parts += [page.wrap(e, indent=6) for e in same.examples]
    for group in tally.ranked():
        parts += _group(group, page)
    return "\n".join(parts) + "\n"


def _left_out(tally: Tally) -> list[tuple[Same, str]]:
    found = [
        (tally.only_old, "can be read with the old packs only"),
        (tally.only_new, "with the new packs only"),
    ]
    found += [(same, f"left out ({state})") for state, same in sorted(tally.bad.items())]
    return [(same, words) for same, words in found if same.cases]


def _group(group: Group, page: Page) -> Iterator[str]:
    yield page.heading(" + ".join(_cause_short(c) for c in group.causes) or "NO CAUSE FOUND")
    for cause in group.causes:
        if cause.rule is not None:
            sources = "; ".join(f"{s.source} {s.at}".strip() for s in cause.sources)
            yield page.wrap(
                f"{cause.rule.title} [{sources}] {cause.rule.span}", first=f"  {cause.id}: ", hang=4
            )
    yield f"  {several(group.cases, 'case')}"
    ranked = group.ranked()
    for same in ranked[:MOST_LISTED]:
        steps = f"{same.was or 'nothing'} -> {same.now or 'nothing'}"
        words = f"{same.line}: {steps}, {several(same.cases, 'case')}, e.g. {clean(', '.join(same.examples))}"
        yield page.wrap(words, first=f"  {KIND_WORDS[same.kind]:<10} ", hang=13)
    if len(ranked) > MOST_LISTED:
        yield f"  and {len(ranked) - MOST_LISTED} less severe; `--format json` has all"


def _cause_short(cause: Cause) -> str:
    return f"{cause.id} {cause.how}{f' by {cause.by}' if cause.by else ''}" if cause.rule else cause.id


def effect_data(tally: Tally) -> dict[str, Any]:
    """The tally as plain data, ranked."""
    return {
        "cases": tally.cases,
        "changed": tally.changed,
        "left_out": [
            {"why": words, "cases": s.cases, "examples": s.examples} for s, words in _left_out(tally)
        ],
        "groups": [
            {
                "causes": [
                    {"id": c.id, "how": c.how, "by": c.by, "sources": plain(c.sources)} for c in group.causes
                ],
                "cases": group.cases,
                "changes": [plain(s) for s in group.ranked()],
            }
            for group in tally.ranked()
        ],
    }
