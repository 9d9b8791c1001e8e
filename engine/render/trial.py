"""Scenarios and what they cover, as text and JSON: what failed, and what packs above took away or changed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ..infer.lacking import APART, BLOCKED, Lack
from ..model.program import Program
from ..review.coverage import NEVER, RuleCover
from ..review.scenarios import Near, Shortfall, Trial, Verdict
from .messages import message_text
from .phrases import pattern_words
from .plain import Page
from .plan_json import plain
from .words import several

SHORT = {
    "unknown": "is not known to these packs",
    "overridden": "is gone",
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


def trial_text(trial: Trial, program: Program, page: Page, every: bool = False) -> str:
    """What failed, what packs above take away, what they change otherwise; coverage; `every` lists each condition."""
    failed = [v for v in trial.verdicts if not v.passed and not v.changed_above]
    changed = [v for v in trial.verdicts if v.changed_above]
    named = [v for v in changed if v.names_only]
    less = [v for v in changed if v.asks_less]
    other = [v for v in changed if v not in less and v not in named]
    passed = len(trial.verdicts) - len(failed) - len(changed)
    parts = [f"{several(len(trial.verdicts), 'scenario')}: {passed} passed, {len(failed)} failed"]
    if changed:
        counts = f"{len(less)} ask for less, {len(other)} differ otherwise, {len(named)} only name a rule that is gone"
        parts[0] = page.wrap(f"{parts[0]}, {len(changed)} changed by the packs above: {counts}", hang=2)
    for word, verdicts in (("FAILED", failed), ("LESS", less), ("CHANGED", other)):
        for verdict in verdicts:
            parts += _verdict(word, verdict, program, page)
    return "\n".join([*parts, *_named(named, page), *_coverage(trial.coverage, page, every)]) + "\n"


def _verdict(word: str, verdict: Verdict, program: Program, page: Page) -> Iterator[str]:
    yield ""
    yield page.emphasise(page.wrap(verdict.scenario.name, first=f"{word:<9}", hang=9), "strong")
    yield page.wrap(verdict.scenario.span, indent=9)
    for message in verdict.messages or ():
        yield message_text(message, {}, page)
    for short in sorted(verdict.shortfalls, key=lambda s: not s.asks_less):
        lead = "  - less: " if short.asks_less and word != "FAILED" else "  - "
        yield page.wrap(f"{short.subject} {SHORT[short.kind]}{_versus(short)}", first=lead, hang=4)
        for near in short.near:
            yield from _near(near, program, page)


def _named(verdicts: list[Verdict], page: Page) -> Iterator[str]:
    """Scenarios that come out as before: one line for each rule they miss."""
    where: dict[str, list[str]] = {}
    for verdict in verdicts:
        for short in verdict.shortfalls:
            where.setdefault(f"{short.subject} is {short.got}", []).append(str(verdict.scenario.span))
    if where:
        yield ""
        yield page.wrap("Come out as before, and name a rule that is gone:")
    for rule, places in where.items():
        yield page.wrap(f"{rule}: {', '.join(dict.fromkeys(places))}", first="  - ", hang=4)


def _versus(short: Shortfall) -> str:
    parts = [f"expected {short.expected}"] if short.expected else []
    got = short.got if short.kind == "overridden" else f"got {short.got}"
    parts += [got] if short.got else []
    asked = short.rules and short.kind != "overridden"
    parts += [f"asked for by {', '.join(short.rules)}"] if asked else []
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
                "asks_less": v.asks_less,
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
