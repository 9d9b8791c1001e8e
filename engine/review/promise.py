"""Promises of a pack: proved for every fully known case the vocabulary can express, or refuted by one.

The solver only proposes a counterexample: it is written out as a case file, read back and planned by the real
engines, and has to break the promise there too.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from ..diagnostics.message import InferenceFault, InputError, Messages
from ..infer.check import World, matches
from ..infer.lines import LineId
from ..load.case import build_case
from ..load.promises import promise_alternatives
from ..load.tree import parse_tree
from ..load.validate import validate
from ..model.case import Slot
from ..model.catalogue import Value
from ..model.outcome import BIT, POSSIBLE, PROVISIONAL
from ..model.places import expand, meets
from ..model.program import Program
from ..model.record import dataclass
from ..model.rule import STRENGTHS, Claim, Promise
from ..plan.build import evidence_of
from ..plan.order import predecessors
from .asp import Translation, atom
from .counterexample import case_text
from .domains import Domain, domains, patterns

PROVED, REFUTED, UNDECIDED = "proved", "refuted", "undecided"


@dataclass(frozen=True, slots=True)
class Bounds:
    """At most so many parts touched, parts damaged and results in the log; None: any number."""

    touched: int | None = None
    damaged: int | None = None
    results: int | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of a promise; `case`: a counterexample as text, `smallest`: proved to be so."""

    promise: Promise
    state: str
    bound: str
    case: str = ""
    smallest: bool = True
    seconds: float = 0.0


def due(program: Program) -> tuple[Promise, ...]:
    """What a stack has to keep: the promises of its uppermost pack, and those below that all must keep."""
    top = program.packs[-1].name
    return tuple(p for p in program.promises if p.rule.pack == top or p.kept_by_all)


def prove(
    program: Program,
    promises: Sequence[Promise] | None = None,
    *,
    limit_seconds: float = 60.0,
    bounds: Bounds | None = None,
    progress: Callable[[int, int, Promise], None] | None = None,
) -> list[Verdict]:
    """A verdict for each promise, by default for all that are due; `limit_seconds` holds for each of them.

    InputError when the solver is not installed; InferenceFault when the engines do not confirm a case.
    """
    chosen = due(program) if promises is None else tuple(promises)
    prover = _Prover(program, chosen, bounds or Bounds(), limit_seconds)
    verdicts = []
    for i, promise in enumerate(chosen):
        if progress is not None:
            progress(i, len(chosen), promise)
        verdicts.append(prover.verdict(promise))
    return verdicts


def solver() -> Any:
    """The solver's module. InputError that says how to get it."""
    try:
        import clingo
    except ImportError:
        messages = Messages()
        step = 'install the extra: `python -m pip install ".[prove]"` in the folder of the project'
        messages.add(
            "KN601", "proving promises needs the solver clingo, which is not installed", next_step=step
        )
        raise InputError(messages) from None
    return clingo


class _Prover:
    """One grounded logic program for all promises."""

    def __init__(self, program: Program, promises: Sequence[Promise], bounds: Bounds, limit: float) -> None:
        self.clingo, self.program, self.limit = solver(), program, limit
        self.alternatives = {p.rule.id: promise_alternatives(p, program) for p in promises}
        every = [a for found in self.alternatives.values() for a in found]
        self.domains = domains(program, patterns(every))
        text = Translation(program, self.domains)
        for promise in promises:
            text.promise(promise.rule.id, self.alternatives[promise.rule.id], promise.claims)
        for kind in ("touched", "damaged", "result"):
            most = getattr(bounds, "results" if kind == "result" else kind)
            if most is not None:
                text.bound(kind, most)
        self.bound = bound_text(program, self.domains, bounds)
        self.control = self.clingo.Control(
            ["--opt-mode=ignore", "--opt-strategy=usc"], logger=lambda *_: None
        )
        self.control.add("base", [], text.text)
        self.control.ground([("base", [])])

    def verdict(self, promise: Promise) -> Verdict:
        """Look for a case that breaks the promise; when there is one, for a smallest."""
        broken = self.clingo.Function("broken", [self.clingo.String(promise.rule.id)])
        state, answers, seconds = self._solve(broken, "ignore")
        if state != REFUTED:
            return Verdict(promise, state, self.bound, seconds=seconds)
        optimal, smaller, more = self._solve(broken, "opt")
        answers = smaller or answers
        text = case_text(self.program, promise, self.domains, answers)
        self._confirm(promise, text)
        return Verdict(promise, REFUTED, self.bound, text, optimal == REFUTED, seconds + more)

    def _solve(self, broken: Any, mode: str) -> tuple[str, Mapping[Slot, frozenset[Value]], float]:
        """State, the last case found, and the solver's own seconds."""
        if self.control.symbolic_atoms[broken] is None:
            return PROVED, {}, 0.0  # no combination of records can break it
        found: list[Mapping[Slot, frozenset[Value]]] = []
        self.control.configuration.solve.opt_mode = mode
        assumptions = [(broken, True)]
        with self.control.solve(
            assumptions, on_model=lambda m: found.append(self._answers(m)), async_=True
        ) as handle:
            finished = handle.wait(self.limit)
            if not finished:
                handle.cancel()
            result = handle.get()
        seconds = float(self.control.statistics["summary"]["times"]["total"])
        state = UNDECIDED if not finished else REFUTED if result.satisfiable else PROVED
        return state, found[-1] if found else {}, seconds

    def _answers(self, model: Any) -> Mapping[Slot, frozenset[Value]]:
        """What the model says of every slot."""
        true = {str(s) for s in model.symbols(atoms=True) if s.name == "in"}
        return {d.slot: frozenset(v for v in d.values if atom(d.slot, v) in true) for d in self.domains}

    def _confirm(self, promise: Promise, text: str) -> None:
        """Plan the counterexample with the real engines; the promise has to fail there as well."""
        messages = Messages()
        tree = parse_tree(text, f"{promise.rule.id}.yaml", messages)
        if tree is None or not validate(tree, "case", messages):
            raise InputError(messages)
        evidence = evidence_of(self.program, build_case(tree, self.program, messages))
        lines = {k: line.strength for k, line in evidence.found.lines.items() if line.standing != POSSIBLE}
        world = World(self.program, evidence.case, finished=True)
        made = evidence.outcome[PROVISIONAL].made
        for record in sorted(made):
            if record.kind != "planned" or (record.subject, record.place) in lines:
                world.add(record, BIT[PROVISIONAL])
        held = {(r.subject, r.place) for r in made if r.kind == "hold"}
        for a in self.alternatives[promise.rule.id]:
            for _, bound, mask in matches(a, world):
                if mask & BIT[PROVISIONAL] and not all(
                    _kept(self.program, c, bound, lines, held) for c in promise.claims
                ):
                    return
        raise InferenceFault(
            f"the solver found a case against {promise.rule.id} that the engines do not confirm",
            promise.rule.id,
            text,
        )


def _kept(
    program: Program,
    claim: Claim,
    bound: Mapping[str, str],
    lines: Mapping[LineId, str],
    held: Iterable[LineId],
) -> bool:
    """Whether a claim holds of a plan, for one match of the promise's condition."""
    if claim.verb == "before":
        return _in_order(program, claim.operations[0], claim.operations[1], list(lines))
    least = STRENGTHS.index(claim.strength)
    strong = {k for k, strength in lines.items() if STRENGTHS.index(strength) >= least}
    seen = {"planned": strong, "not_planned": set(lines), "held": set(held)}[claim.verb]
    place = bound.get(claim.place, "" if claim.place == "all" else claim.place)
    for operation in claim.operations:
        wanted = expand(place, program.operations[operation].per)
        there = [(operation, p) in seen for p in wanted]
        good = all(there) if claim.place else any(there)
        if any(there) if claim.verb == "not_planned" else not good:
            return False
    return True


def _in_order(program: Program, first: str, second: str, lines: list[LineId]) -> bool:
    """Whether every line of one operation precedes every line of the other, where their places meet."""
    needed = predecessors(program, lines)
    for line in [k for k in lines if k[0] == second]:
        earlier: set[LineId] = set()
        waiting = [line]
        while waiting:
            fresh = [k for k in needed[waiting.pop()] if k not in earlier]
            earlier.update(fresh)
            waiting += fresh
        if any(k[0] == first and meets(k[1], line[1]) and k not in earlier for k in lines):
            return False
    return True


def bound_text(program: Program, found: Sequence[Domain], bounds: Bounds) -> str:
    """What a proof covers, in one sentence."""
    count = Counter(d.slot[0] for d in found)

    def most(number: int | None, what: str) -> str:
        return f"any number of {what}" if number is None else f"at most {number} {what}"

    parts = f"{most(bounds.touched, 'parts touched')}, {most(bounds.damaged, 'parts damaged')}"
    return (
        f"every fully known case: each answer to {count['fact']} facts (numbers by the intervals their "
        f"thresholds cut), any of {count['fitted']} systems fitted (those every vehicle has always), {parts} "
        f"of {count['touched']} part places, any trouble codes, methods and procedure verdicts, "
        f"{most(bounds.results, 'standing results')}; without answers that exclude each other or the law"
    )
