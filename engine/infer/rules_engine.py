"""The first engine: durable_rules' core, driven directly, one case at a time, one live state per rule set."""

from __future__ import annotations

import json
import weakref
from typing import Any

from ..diagnostics.message import InferenceFault
from ..model.case import Case
from ..model.outcome import FIRM, POSSIBLE, PROVISIONAL, STANDINGS, Firing, Fixpoint, Record
from ..model.program import Program
from .check import OPPOSITE
from .compile import WARM, Compiled, compile_program, conjunction_kind, kind_of, late_kind
from .encode import CHUNK, Reading, blocked
from .made import effects

MAX_FIRINGS = 200_000
MAX_RECORDS = 700_000


def core() -> Any:
    """The library's core, or None where it cannot be imported."""
    try:
        import durable_rules_engine
    except ImportError:
        return None
    return durable_rules_engine


def _delete(library: Any, handles: list[int]) -> None:
    for handle in handles:
        library.delete_ruleset(handle)


class RulesEngine:
    """Two compiled rule sets of one program: firm and possible run side by side, provisional after them."""

    def __init__(self, program: Program) -> None:
        self._program = weakref.ref(program)  # engines are kept per program: a strong one would keep both for ever
        self.core = core()
        self.compiled = compile_program(program)
        self.by_id = {a.id: a for a in program.alternatives}
        self.handles = [self._create(f"knockon{i}") for i in range(2)]
        weakref.finalize(self, _delete, self.core, self.handles).atexit = False

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
        found: dict[str, Fixpoint] = {}
        if not any(state.known is None for state in case.slots.values()):
            only = self._together(case, (FIRM,))[FIRM]
            return dict.fromkeys(STANDINGS, only)
        found.update(self._together(case, (FIRM, POSSIBLE)))
        found.update(self._together(case, (PROVISIONAL,)))
        return found

    def _together(self, case: Case, standings: tuple[str, ...]) -> dict[str, Fixpoint]:
        """Run passes that look at each other, stratum by stratum."""
        runs: dict[str, _Run] = {}
        try:
            for handle, standing in zip(self.handles, standings, strict=False):
                runs[standing] = _Run(self, handle, Reading(self.program, case, standing, self.compiled.markers))
            for stratum in range(self.program.strata):
                for standing, run in runs.items():
                    run.stratum(stratum, runs.get(OPPOSITE.get(standing, standing), run))
        except Exception as error:
            if isinstance(error, InferenceFault):
                raise
            raise InferenceFault(f"the rules engine failed: {error}") from error
        finally:
            for run in runs.values():
                run.close()
        return {s: Fixpoint(tuple(r.fired), frozenset(r.made)) for s, r in runs.items()}


class _Run:
    """One pass in one live state."""

    def __init__(self, engine: RulesEngine, handle: int, reading: Reading) -> None:
        self.engine, self.handle, self.reading = engine, handle, reading
        self.core, self.compiled = engine.core, engine.compiled
        self.asserted: list[Record | None] = []
        self.fired: dict[Firing, None] = {}
        self.made: set[Record] = set()
        self.state = 0

    def stratum(self, number: int, opposite: _Run) -> None:
        """Tell the engine what is new in a stratum, then run it dry."""
        markers = self.compiled.markers
        if number == 0:
            chunks: dict[str, list[str]] = {}
            for n in self.reading.conjunctions():
                if not blocked(markers.bodies[n][1], opposite.reading, set()):
                    chunks.setdefault(conjunction_kind(n), []).append(f"g{n}")
            for kind, marks in chunks.items():
                self._tell(kind, None, marks)
            if "always" in self.compiled.kinds:
                self._tell("always", None, [])
            for record, numbers in self.reading.records():
                kind = f"{record.kind}+" if record.kind in ("touched", "damaged") and record.system else record.kind
                self._tell(kind, record, [f"t{n}" for n in numbers])
        open_ = [
            f"u{n}"
            for level, n, groups in markers.late_groups
            if level == number and not blocked(groups, opposite.reading, opposite.made)
        ]
        if open_:
            self._tell(late_kind(number), None, open_)
        self._drain()

    def _tell(self, kind: str, record: Record | None, marks: list[str]) -> None:
        if kind not in self.compiled.kinds:
            return
        # each condition asks for one mark, so a record with more marks than the library takes is told in copies
        for first in range(0, len(marks) or 1, CHUNK):
            self._assert(kind, record, marks[first : first + CHUNK])

    def _assert(self, kind: str, record: Record | None, marks: list[str]) -> None:
        number = len(self.asserted)
        if number > MAX_RECORDS:
            raise InferenceFault("too many records for one case")
        self.asserted.append(record)
        text = [f'"sid":"s","id":"{number}","_":1,"kb":"{self.compiled.buckets[kind]}","k":{json.dumps(kind)}']
        text += [f'"{mark}":1' for mark in marks]
        if record is not None:
            subject, place, system = (json.dumps(f"s:{w}") for w in record[1:])
            text.append(f'"s":{subject},"p":{place},"x":{system}')
        code, self.state = self.core.assert_fact(self.handle, "{" + ",".join(text) + "}")
        if code not in (0, 1):
            raise InferenceFault(f"the rules engine refused a record (code {code})")

    def _drain(self) -> None:
        """Take every pending firing, in the engine's order; what a firing makes is told at once."""
        if not self.state:
            return
        started = self.core.start_action_for_state(self.handle, self.state)
        message = started[1] if started else None
        while message:
            ((name, met),) = json.loads(message).items()
            a = self.engine.by_id.get(name)
            if a is None:
                raise InferenceFault(f"the rules engine fired `{name}`, which is no rule")
            numbers = [int(met[f"c{i}"]["id"]) for i in self.compiled.aliases[name]]
            records = tuple(r for r in (self.asserted[n] for n in numbers) if r is not None)
            firing = Firing(name, records)
            if len(self.fired) > MAX_FIRINGS:
                raise InferenceFault(f"too many firings; the last is of `{a.rule.id}`", a.rule.id)
            if firing not in self.fired:
                self.fired[firing] = None
                for record in effects(a, records, self.engine.program):
                    self._make(record)
            message = self.core.complete_and_start_action(self.handle, self.state)

    def _make(self, record: Record) -> None:
        if record in self.made:
            return
        self.made.add(record)
        numbers = self.reading.made_markers(record)
        if numbers:
            self._tell(kind_of(record.kind, record.subject), record, [f"t{n}" for n in numbers])

    def close(self) -> None:
        """Delete the state whatever happened, so that the slot is clean for the next case."""
        if self.asserted:
            try:
                self.core.delete_state(self.handle, "s")
            except Exception as error:
                if "309" not in str(error):  # 309: there was no state
                    raise
