"""The first engine: durable_rules' core, driven directly, one case at a time, one live state per rule set."""

from __future__ import annotations

import json
import re
import weakref
from typing import Any

from ..diagnostics.message import InferenceFault
from ..model.case import Case
from ..model.outcome import FIRM, POSSIBLE, PROVISIONAL, STANDINGS, Firing, Fixpoint, Record
from ..model.program import Program
from .check import OPPOSITE
from .compile import WARM, compile_program, conjunction_kind, kind_of, late_kind
from .encode import CHUNK, Reading, blocked
from .made import effects

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


def _delete(library: Any, handles: list[int]) -> None:
    for handle in handles:
        library.delete_ruleset(handle)


class RulesEngine:
    """Two compiled rule sets of one program: firm and possible run side by side, provisional after them."""

    def __init__(self, program: Program) -> None:
        self._program = weakref.ref(
            program
        )  # engines are kept per program: a strong one would keep both for ever
        self.core = core()
        self.compiled = compile_program(program)
        self.by_id = {a.id: a for a in program.alternatives}
        self.made_texts: dict[Record, list[str]] = {}
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
                runs[standing] = _Run(
                    self, handle, Reading(self.program, case, standing, self.compiled.markers)
                )
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
                kind = (
                    f"{record.kind}+"
                    if record.kind in ("touched", "damaged") and record.system
                    else record.kind
                )
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
        if kind in self.compiled.kinds:
            for rest in self._texts(kind, record, marks):
                self._assert(record, rest)

    def _texts(self, kind: str, record: Record | None, marks: list[str]) -> list[str]:
        """A record as the engine reads it, without its number. Each condition asks for one mark, so a record with
        more marks than the library takes is told in copies."""
        head = f'"_":1,"kb":"{self.compiled.buckets[kind]}","k":{json.dumps(kind)}'
        tail = ""
        if record is not None:
            subject, place, system = (json.dumps(f"s:{w}") for w in record[1:])
            tail = f',"s":{subject},"p":{place},"x":{system}'
        told = [f',"{mark}":1' for mark in marks]
        return [head + "".join(told[i : i + CHUNK]) + tail for i in range(0, len(told) or 1, CHUNK)]

    def _assert(self, record: Record | None, rest: str) -> None:
        number = len(self.asserted)
        if number > MAX_RECORDS:
            raise InferenceFault("too many records for one case")
        self.asserted.append(record)
        code, self.state = self.core.assert_fact(self.handle, f'{{"sid":"s","id":"{number}",{rest}}}')
        if code not in (0, 1):
            raise InferenceFault(f"the rules engine refused a record (code {code})")

    def _drain(self) -> None:
        """Take every pending firing, in the engine's order; what a firing makes is told at once."""
        if not self.state:
            return
        by_id, asserted = self.engine.by_id, self.asserted
        aliases, lengths = self.compiled.aliases, self.compiled.lengths
        started = self.core.start_action_for_state(self.handle, self.state)
        message = started[1] if started else None
        while message:
            fired = _NAME.match(message)
            name = json.loads(fired[1]) if fired else message
            a = by_id.get(name)
            if a is None:
                raise InferenceFault(f"the rules engine fired `{name}`, which is no rule")
            met = _MET.findall(message)
            if len(met) != lengths[name]:
                raise InferenceFault(f"the rules engine's match of `{name}` cannot be read", a.rule.id)
            records = tuple([asserted[int(met[i])] for i in aliases[name]])
            firing = Firing(name, records)  # type: ignore[arg-type]
            if len(self.fired) > MAX_FIRINGS:
                raise InferenceFault(f"too many firings; the last is of `{a.rule.id}`", a.rule.id)
            if firing not in self.fired:
                self.fired[firing] = None
                for record in effects(a, firing.records, self.engine.program):
                    self._make(record)
            message = self.core.complete_and_start_action(self.handle, self.state)

    def _make(self, record: Record) -> None:
        if record in self.made:
            return
        self.made.add(record)
        known = self.engine.made_texts
        if record not in known:
            kind, numbers = kind_of(record.kind, record.subject), self.reading.made_markers(record)
            looked_at = numbers and kind in self.compiled.kinds
            known[record] = self._texts(kind, record, [f"t{n}" for n in numbers]) if looked_at else []
        for rest in known[record]:
            self._assert(record, rest)

    def close(self) -> None:
        """Delete the state whatever happened, so that the slot is clean for the next case."""
        if self.asserted:
            try:
                self.core.delete_state(self.handle, "s")
            except Exception as error:
                if "309" not in str(error):  # 309: there was no state
                    raise
