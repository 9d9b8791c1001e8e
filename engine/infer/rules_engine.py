"""The first engine: durable_rules' core, driven directly, one case at a time, one live state.

It is told whatever holds in some pass and finds the matches and chains of all three at once; each match then holds
in those passes in which everything it rests on holds.
"""

from __future__ import annotations

import json
import re
import weakref
from collections.abc import Iterable, Sequence
from typing import Any

from ..diagnostics.message import InferenceFault
from ..model.case import Case
from ..model.outcome import ALL, BIT, Firing, Fixpoint, Record
from ..model.program import Program
from ..model.record import dataclass
from ..model.rule import Alternative
from .compile import WARM, compile_program, conjunction_kind, kind_of, late_kind
from .encode import CHUNK, Marks, Reading
from .made import binds, effects
from .markers import MADE, number_of

MAX_FIRINGS = 200_000
MAX_RECORDS = 700_000
_NAME = re.compile(r'\{("(?:[^"\\]|\\.)*")')
_MET = re.compile(
    r'"c[0-9]+":\{"sid":"s","id":"([0-9]+)"'
)  # every record was written by `_assert`, in this form


def core() -> Any:
    """The library's core, or None where it cannot be imported."""
    try:
        import durable_rules_engine
    except ImportError:
        return None
    return durable_rules_engine


@dataclass(frozen=True, slots=True)
class Known:
    """What is looked up for each alternative when it fires."""

    alternative: Alternative
    body: int | None
    late: int | None
    aliases: tuple[int, ...]
    numbers: tuple[int, ...]
    length: int
    chained: bool
    makes: tuple[Record, ...] | None


class RulesEngine:
    """The compiled rule set of one program."""

    def __init__(self, program: Program) -> None:
        # engines are kept per program: a strong one would keep both for ever
        self._program = weakref.ref(program)
        self.core = core()
        self.compiled = compile_program(program)
        self.by_name = {json.dumps(a.id): a for a in program.alternatives}
        self.known: dict[str, Known] = {}
        self.tails: dict[Record, str] = {}
        self.heads = {
            kind: f'"_":1,"kb":"{self.compiled.buckets[kind]}","k":{json.dumps(kind)}'
            for kind in self.compiled.kinds
        }
        self.handle = self._create("knockon")
        weakref.finalize(self, self.core.delete_ruleset, self.handle).atexit = False

    def about(self, name: str) -> Known | None:
        """What is looked up for an alternative, by its name as the engine writes it; None when there is none."""
        a, compiled, markers = self.by_name.get(name), self.compiled, self.compiled.markers
        if a is None:
            return None
        self.known[name] = Known(
            a,
            markers.conjunctions.get(a.id),
            markers.late.get(a.id),
            compiled.aliases[a.id],
            tuple(number_of(p, markers) for p in a.records),
            compiled.lengths[a.id],
            any(p.kind in MADE for p in a.records),
            None if binds(a) else effects(a, (), self.program),
        )
        return self.known[name]

    @property
    def program(self) -> Program:
        """The program this engine was compiled from."""
        program = self._program()
        if program is None:
            raise InferenceFault("the program of this rules engine is gone")
        return program

    def _create(self, name: str) -> int:
        handle: int = self.core.create_ruleset(name, self.compiled.text)
        warm = f'{{"sid":"s","id":"0","kb":"{WARM}","k":"{WARM}"}}'
        code, state = self.core.assert_fact(handle, warm)
        started = self.core.start_action_for_state(handle, state)
        if code != 0 or not started or self.core.complete_and_start_action(handle, state) is not None:
            raise InferenceFault("the rules engine did not warm up")
        self.core.delete_state(handle, "s")  # from here on the one slot is initialised and reused
        return handle

    def fixpoints(self, case: Case) -> dict[str, Fixpoint]:
        """The three passes of one case. InferenceFault when the library reports anything unexpected."""
        run = _Run(self, Reading(self.program, case, self.compiled.markers))
        try:
            for stratum in range(self.program.strata):
                run.stratum(stratum)
        except Exception as error:
            if isinstance(error, InferenceFault):
                raise
            raise InferenceFault(f"the rules engine failed: {error}") from error
        finally:
            run.close()
        return run.passes()

    def text(self, kind: str, record: Record | None, marks: Sequence[str]) -> str:
        """A record as the engine reads it, without its number."""
        tail = ""
        if record is not None:
            tail = self.tails.get(record, "")
            if not tail:
                subject, place, system = (json.dumps(f"s:{w}") for w in record[1:])
                tail = self.tails[record] = f',"s":{subject},"p":{place},"x":{system}'
        return f"{self.heads[kind]}{''.join(marks)}{tail}"


class _Run:
    """One case in the live state. `fired` and `made` say in which passes; a mask of 0: so far in none."""

    def __init__(self, engine: RulesEngine, reading: Reading) -> None:
        self.engine, self.reading = engine, reading
        self.core, self.compiled = engine.core, engine.compiled
        self.asserted: list[Record | None] = []
        self.given: dict[Record, Marks] = {}
        self.looked_up: set[str] = set()
        self.grown: list[Record] = []
        self.bodies = reading.conjunctions()
        self.late: dict[int, int] = {}
        self.fired: dict[Firing, int] = {}
        self.resting: dict[Record, list[tuple[Firing, Known]]] = {}
        self.made: dict[Record, int] = {}
        self.state = 0

    def stratum(self, number: int) -> None:
        """Tell the engine what is new in a stratum, then run it dry."""
        if number == 0:
            self._tell_case()
        open_ = []
        for n, (level, groups) in enumerate(self.compiled.markers.late_groups):
            if level == number:
                self.late[n] = self.reading.open(groups, self.made)
                if self.late[n]:
                    open_.append(f',"u{n}":1')
        if open_:
            self._tell(late_kind(number), None, open_)
        self._drain()
        while self.grown:  # what rests on a record holds in the passes it has come to hold in
            for firing, a in self.resting.get(self.grown.pop(), ()):
                self._hold(firing, a)
            if not self.grown:
                self._drain()

    def _tell_case(self) -> None:
        chunks: dict[str, list[str]] = {}
        for body, n in self.compiled.markers.alone.items():
            if self.bodies[body]:
                chunks.setdefault(conjunction_kind(n), []).append(f',"g{n}":1')
        for kind, marks in chunks.items():
            self._tell(kind, None, marks)
        if "always" in self.compiled.kinds:
            self._tell("always", None, [])
        for record, held in self.reading.records():
            self._tell_given(record, held)

    def _tell_given(self, record: Record, held: Marks) -> None:
        self.given[record] = {**self.given.get(record, {}), **held}
        kind = f"{record.kind}+" if record.kind in ("touched", "damaged") and record.system else record.kind
        self._tell_marked(kind, record, held)

    def _tell_marked(self, kind: str, record: Record, numbers: Iterable[int]) -> None:
        """Tell a record with the patterns it meets, each together with the conjunctions some rule wants with it."""
        carried, bodies = self.compiled.markers.carried, self.bodies
        marks = [
            f',"t{mark}":1'
            for number in numbers
            for body, mark in carried[number].items()
            if body is None or bodies[body]
        ]
        if marks:
            self._tell(kind, record, marks)

    def _tell(self, kind: str, record: Record | None, marks: Sequence[str]) -> None:
        """Each condition asks for one mark, so a record with more marks than the library takes is told in copies."""
        if kind in self.compiled.kinds:
            for i in range(0, len(marks) or 1, CHUNK):
                self._assert(record, self.engine.text(kind, record, marks[i : i + CHUNK]))

    def _assert(self, record: Record | None, text: str) -> None:
        number = len(self.asserted)
        if number > MAX_RECORDS:
            raise InferenceFault("too many records for one case")
        self.asserted.append(record)
        code, self.state = self.core.assert_fact(self.engine.handle, f'{{"sid":"s","id":"{number}",{text}}}')
        if code not in (0, 1):
            raise InferenceFault(f"the rules engine refused a record (code {code})")

    def _drain(self) -> None:
        """Take every pending firing, in the engine's order; what a firing makes is told at once."""
        if not self.state:
            return
        handle, known = self.engine.handle, self.engine.known
        started = self.core.start_action_for_state(handle, self.state)
        message = started[1] if started else None
        while message:
            name = _NAME.match(message)
            a = (known.get(name[1]) or self.engine.about(name[1])) if name else None
            if a is None:
                raise InferenceFault(f"the rules engine fired `{message[:40]}`, which is no rule")
            self._fire(a, _MET.findall(message))
            message = self.core.complete_and_start_action(handle, self.state)

    def _fire(self, a: Known, met: list[str]) -> None:
        rule = a.alternative.rule.id
        if len(met) != a.length:
            raise InferenceFault(f"the rules engine's match of `{a.alternative.id}` cannot be read", rule)
        records = tuple([self.asserted[int(met[i])] for i in a.aliases])
        firing = Firing(a.alternative.id, records)  # type: ignore[arg-type]
        if firing in self.fired:
            return
        if len(self.fired) > MAX_FIRINGS:
            raise InferenceFault(f"too many firings; the last is of `{rule}`", rule)
        self.fired[firing] = 0
        if a.chained:
            for record in firing.records:
                if record.kind in MADE:
                    self.resting.setdefault(record, []).append((firing, a))
        self._hold(firing, a)

    def _hold(self, firing: Firing, a: Known) -> None:
        """Find the passes in which a firing holds, and tell what it makes."""
        mask = ALL if a.body is None else self.bodies[a.body]
        if a.late is not None:
            mask &= self.late[a.late]
        for number, record in zip(a.numbers, firing.records, strict=True):
            held = self.given.get(record)
            mask &= self.made.get(record, 0) | (held.get(number, 0) if held else 0)
        if mask == self.fired[firing]:
            return
        self.fired[firing] = mask
        makes = a.makes
        if makes is None:
            makes = effects(a.alternative, firing.records, self.engine.program)
        for record in makes:
            before = self.made.get(record, 0)
            self.made[record] = before | mask
            if not before:
                self._tell_made(record)
            if (
                record in self.resting and before | mask != before
            ):  # a fitted system may have been given before
                self.grown.append(record)

    def _tell_made(self, record: Record) -> None:
        if record.kind == "planned" and record.subject not in self.looked_up:
            self.looked_up.add(record.subject)
            said, held = self.reading.procedure(record.subject)
            if held:
                self._tell_given(said, held)
        kind = kind_of(record.kind, record.subject)
        if kind in self.compiled.kinds:
            self._tell_marked(kind, record, self.reading.made_markers(record))

    def passes(self) -> dict[str, Fixpoint]:
        """What was found, pass by pass; passes that found the same are the same object."""
        found: dict[str, Fixpoint] = {}
        for standing, bit in BIT.items():
            fired = tuple([firing for firing, mask in self.fired.items() if mask & bit])
            made = frozenset([record for record, mask in self.made.items() if mask & bit])
            fixpoint = Fixpoint(fired, made)
            found[standing] = next((f for f in found.values() if f == fixpoint), fixpoint)
        return found

    def close(self) -> None:
        """Delete the state whatever happened, so that the slot is clean for the next case."""
        if self.asserted:
            try:
                self.core.delete_state(self.engine.handle, "s")
            except Exception as error:
                if "309" not in str(error):  # 309: there was no state
                    raise
