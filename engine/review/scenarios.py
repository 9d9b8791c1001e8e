"""Running the scenarios of a program: what was expected, what came instead, and which rules were near."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from ..diagnostics.message import InputError, Messages
from ..infer.check import World
from ..infer.lacking import Lack, lacking, settled
from ..infer.lines import Found, find_lines
from ..infer.run import infer
from ..load.log import split_line_id
from ..load.pack import load_program
from ..load.scenario import scenario_case
from ..model.outcome import POSSIBLE, PROVISIONAL, Firing, Record
from ..model.program import Program
from ..model.record import dataclass, replace
from ..model.rule import STRENGTHS, Rule, Scenario, strongest, weakest
from .coverage import Coverage, RuleCover
from .implication import by_rule

NEAREST = 3


@dataclass(frozen=True, slots=True)
class Near:
    """A rule that did not fire, and what its nearest alternative lacks."""

    rule: Rule
    lacks: tuple[Lack, ...]


@dataclass(frozen=True, slots=True)
class Shortfall:
    """One expectation that was not met.

    `kind`: unknown, overridden, missing, strength, extra, not_fired, fired, not_near, not_held, not_void, severity or
    whole_plan. `rules` asked for what came instead; `near` could have made what was expected.
    """

    kind: str
    subject: str
    expected: str = ""
    got: str = ""
    rules: tuple[str, ...] = ()
    near: tuple[Near, ...] = ()

    @property
    def asks_less(self) -> bool:
        """Whether work or a hold that was stated is gone, or has less strength than was stated."""
        if self.kind in ("missing", "not_held", "not_void"):
            return True
        known = self.kind in ("strength", "whole_plan") and self.expected in STRENGTHS
        return known and (self.got not in STRENGTHS or weakest(self.got, self.expected) != self.expected)


@dataclass(frozen=True, slots=True)
class Verdict:
    """One scenario, run. It passed when nothing fell short; `messages` say why it could not be run."""

    scenario: Scenario
    shortfalls: tuple[Shortfall, ...] = ()
    messages: Messages | None = None
    # passes on its own pack, and comes out otherwise under the packs stacked on it
    changed_above: bool = False

    @property
    def passed(self) -> bool:
        """Whether everything came as expected."""
        return not self.shortfalls and self.messages is None

    @property
    def asks_less(self) -> bool:
        """Whether something that was stated is gone or weaker."""
        return any(s.asks_less for s in self.shortfalls)

    @property
    def names_only(self) -> bool:
        """Whether nothing differs but that a rule it names was replaced or withdrawn."""
        return bool(self.shortfalls) and all(s.kind == "overridden" for s in self.shortfalls)


@dataclass(frozen=True, slots=True)
class Trial:
    """All scenarios of a program and what they cover."""

    verdicts: tuple[Verdict, ...]
    coverage: tuple[RuleCover, ...]


def try_scenarios(program: Program) -> Trial:
    """Run every scenario; one that cannot be read is a verdict too. InferenceFault when engines disagree."""
    coverage, verdicts = Coverage(program), []
    for scenario in program.scenarios:
        try:
            run = _Run(program, scenario)
        except InputError as error:
            verdicts.append(Verdict(scenario, messages=error.messages))
            continue
        verdicts.append(Verdict(scenario, tuple(run.shortfalls())))
        coverage.add(run.lacks)
    return Trial(tuple(verdicts), coverage.rules())


def try_stack(folders: Sequence[Path]) -> tuple[Program, Trial]:
    """Run every scenario of a stack; a lower pack's that fails here but not on its own is marked as changed above."""
    program = load_program(folders)
    trial = try_scenarios(program)
    alone: dict[int, Program] = {}
    verdicts = []
    for verdict in trial.verdicts:
        level = next(
            i for i, p in enumerate(program.packs) if verdict.scenario.span.file.startswith(f"{p.folder}/")
        )
        if verdict.shortfalls and level + 1 < len(folders):
            if level not in alone:
                alone[level] = load_program(folders[: level + 1])
            below = _Run(alone[level], verdict.scenario)
            verdict = replace(verdict, changed_above=not any(True for _ in below.shortfalls()))
        verdicts.append(verdict)
    return program, replace(trial, verdicts=tuple(verdicts))


class _Run:
    """One scenario inferred, ready to be compared with what it expects."""

    def __init__(self, program: Program, scenario: Scenario) -> None:
        self.program, self.scenario = program, scenario
        case = scenario_case(scenario, program)
        outcome = infer(program, case)
        self.found: Found = find_lines(program, case, outcome)
        self.made = self.found.strengths[PROVISIONAL].makers
        world: World = settled(program, case, outcome)
        self.lacks = {a.id: lacking(a, world, PROVISIONAL) for a in program.alternatives}
        self.lines = {key: line for key, line in self.found.lines.items() if line.standing != POSSIBLE}
        self.by_rule = by_rule(program)

    def shortfalls(self) -> Iterator[Shortfall]:
        """Everything that fell short, in the order the scenario states it."""
        yield from self._unknown()
        yield from self._rules()
        yield from self._lines()
        yield from self._records("hold", "not_held", self.scenario.held)
        yield from self._records("void", "not_void", self.scenario.void)
        yield from self._severity()
        if self.scenario.plan_is:
            yield from self._whole_plan()

    def _unknown(self) -> Iterator[Shortfall]:
        """Names that mean nothing: such an expectation could never be met, or never be broken."""
        s, operations = self.scenario, self.program.operations
        for rule in (*s.fires, *s.nearly, *s.held.values(), *s.void.values()):
            by = self.program.overridden.get(rule)
            if by is not None:
                how = "withdrawn" if by.withdraws else "replaced"
                yield Shortfall("overridden", rule, "", f"{how} by {by.id} of {by.pack}", (by.id,))
            elif rule not in self.by_rule:
                yield Shortfall("unknown", rule, "an active rule")
        whole = [o for listed in s.plan_is.values() for o in listed]
        for line in (*s.must, *s.must_not, *s.held, *s.void, *whole):
            if split_line_id(line)[0] not in operations:
                yield Shortfall("unknown", line, "an operation")

    def _near(self, rule: str) -> Near | None:
        """What the rule's nearest alternative lacks; None when the rule fired or does not exist."""
        alternatives = self.by_rule.get(rule, [])
        best = min(alternatives, key=lambda a: len(self.lacks[a.id]), default=None)
        return Near(best.rule, self.lacks[best.id]) if best and self.lacks[best.id] else None

    def _nearest(self, verb: str, subject: str) -> tuple[Near, ...]:
        """The rules that could have made something, those that lack least first."""
        makers = {
            a.rule.id
            for a in self.program.alternatives
            for e in a.effects
            if e.verb == verb and subject in e.subjects
        }
        found = [near for near in map(self._near, sorted(makers)) if near]
        return tuple(sorted(found, key=lambda n: len(n.lacks))[:NEAREST])

    def _rules(self) -> Iterator[Shortfall]:
        for rule in self.scenario.fires:
            near = self._near(rule)
            if near:
                yield Shortfall("not_fired", rule, "fires", f"lacks {len(near.lacks)}", (), (near,))
        for rule in self.scenario.nearly:
            near = self._near(rule)
            if near and len(near.lacks) > 1:
                yield Shortfall("not_near", rule, "lacks 1", f"lacks {len(near.lacks)}", (), (near,))
            elif near is None and rule in self.by_rule:
                yield Shortfall("fired", rule, "lacks 1", "fires", (rule,))

    def _lines(self) -> Iterator[Shortfall]:
        for id_, strength in self.scenario.must.items():
            line = self.lines.get(split_line_id(id_))
            if line is None:
                near = self._nearest("plan", split_line_id(id_)[0])
                yield Shortfall("missing", id_, strength, self._why_gone(id_), self._asked(id_), near)
            elif strength and line.strength != strength:
                yield Shortfall("strength", id_, strength, line.strength, _rule_ids(line.firings))
        for id_ in self.scenario.must_not:
            operation, place = split_line_id(id_)
            there = [line for (o, p), line in self.lines.items() if o == operation and place in ("", p)]
            if there:
                rules = _rule_ids(f for line in there for f in line.firings)
                yield Shortfall("extra", id_, "", strongest(*(line.strength for line in there)), rules)

    def _why_gone(self, id_: str) -> str:
        """Why a line that was asked for is not there."""
        gone = self.found.dropped.get(split_line_id(id_))
        if gone is None:
            return "possible" if split_line_id(id_) in self.found.lines else "nothing"
        if gone.not_fitted:
            return f"not fitted: {', '.join(gone.not_fitted)}"
        return f"dropped by {', '.join(_rule_ids(gone.dropped))}"

    def _asked(self, id_: str) -> tuple[str, ...]:
        gone = self.found.dropped.get(split_line_id(id_))
        return _rule_ids(gone.asked) if gone else ()

    def _records(self, kind: str, shortfall: str, wanted: Mapping[str, str]) -> Iterator[Shortfall]:
        for id_, rule in wanted.items():
            operation, place = split_line_id(id_)
            by = _rule_ids(f for r, fs in self.made.items() if _is(r, kind, operation, place) for f in fs)
            if rule not in by:
                near = self._near(rule)
                got = f"by {', '.join(by)}" if by else "nothing"
                yield Shortfall(shortfall, id_, f"by {rule}", got, by, (near,) if near else ())

    def _severity(self) -> Iterator[Shortfall]:
        want = self.scenario.severity
        got = max([int(r.subject) for r in self.made if r.kind == "severity"], default=0)
        if want is not None and got != want:
            rules = _rule_ids(self.made.get(Record("severity", str(got)), ()))
            near = self._nearest("severity", str(want)) if got < want else ()
            yield Shortfall("severity", "severity", str(want), str(got), rules, near)

    def _whole_plan(self) -> Iterator[Shortfall]:
        """Exactly these operations, places aside; what stands on every plan need not be written out."""
        always = {r.id for r in self.program.rules.values() if not r.when and not r.unless}
        want = {o: strength for strength, listed in self.scenario.plan_is.items() for o in listed}
        got: dict[str, str] = {}
        by: dict[str, set[str]] = {}
        for (operation, _), line in self.lines.items():
            by.setdefault(operation, set()).update(_rule_ids(line.firings))
            got[operation] = strongest(line.strength, got.get(operation, STRENGTHS[0]))
        for operation in sorted(set(want) | set(got)):
            rules = by.get(operation, set())
            if want.get(operation) != got.get(operation) and (operation in want or not rules & always):
                near = () if operation in got else self._nearest("plan", operation)
                expected, seen = want.get(operation, "nothing"), got.get(operation, "nothing")
                yield Shortfall("whole_plan", operation, expected, seen, tuple(sorted(rules)), near)


def _is(record: Record, kind: str, subject: str, place: str) -> bool:
    return record.kind == kind and record.subject == subject and place in ("", record.place)


def _rule_ids(firings: Iterable[Firing]) -> tuple[str, ...]:
    return tuple(sorted({f.alternative.partition("#")[0] for f in firings}))
