"""Inference: the passes by the rules engine, certified by the check; or by the check alone."""

from __future__ import annotations

import weakref

from ..model.case import Case, State
from ..model.outcome import FIRM, Outcome
from ..model.program import Program
from ..model.record import replace
from .certify import certify, fixpoints
from .compile import within_limits
from .rules_engine import RulesEngine, core

ENGINES: weakref.WeakKeyDictionary[Program, RulesEngine] = weakref.WeakKeyDictionary()
BEGUN: weakref.WeakKeyDictionary[Program, int] = weakref.WeakKeyDictionary()
FEW = 3  # so many cases of a program cost less with a part compiled for each than with all of it, once
BOTH = ("rules engine", "independent check")
ONE = ("independent check",)


def infer(program: Program, case: Case, *, alone: bool = False) -> Outcome:
    """The outcome of a case. `alone` leaves the rules engine out, as where it cannot be imported.

    InferenceFault when the engines disagree: then there is no outcome.
    """
    outcome = _once(program, case, alone)
    disputed = [
        r.subject
        for r in sorted(outcome[FIRM].made)
        if r.kind == "fitted" and case.state(("fitted", r.subject)).known == frozenset(("no",))
    ]
    if not disputed:
        return outcome
    opened = dict(case.slots)
    for system in disputed:
        said = case.slots[("fitted", system)]
        opened[("fitted", system)] = State(None, frozenset(("yes",)), said.span, said.said_by)
    return replace(_once(program, replace(case, slots=opened), alone), contradictions=tuple(disputed))


def _once(program: Program, case: Case, alone: bool) -> Outcome:
    if alone or core() is None:
        return Outcome(fixpoints(program, case), ONE)
    passes = _engine(program, case).fixpoints(case)
    certify(program, case, passes)
    return Outcome(passes, BOTH)


def _engine(program: Program, case: Case) -> RulesEngine:
    """For the first few cases of a program the part of it that can fire there; then all of it, kept."""
    engine, before = ENGINES.get(program), BEGUN.get(program, 0)
    if engine is None and before < FEW and within_limits(program):
        BEGUN[program] = before + 1
        return RulesEngine(program, case)
    if engine is None:
        engine = ENGINES[program] = RulesEngine(program)
    return engine
