"""The first engine: durable_rules' core, driven directly, one case at a time (`live.py`), one live state."""

from __future__ import annotations

import json
import weakref
from collections.abc import Sequence
from typing import Any

from ..diagnostics.message import InferenceFault
from ..model.case import Case
from ..model.outcome import Fixpoint, Record
from ..model.program import Program
from .compile import WARM, compile_rules, kind_of
from .encode import Reading, relevant
from .live import Known, Live, Rows
from .markers import MADE, made_markers, number_of, number_questions


def core() -> Any:
    """The library's core, or None where it cannot be imported."""
    try:
        import durable_rules_engine
    except ImportError:
        return None
    return durable_rules_engine


class RulesEngine:
    """The compiled rule set of one program; of what can fire in one case only, where that is given.

    Such a part is compiled in a fraction of the time, and is asked for that case alone.
    """

    def __init__(self, program: Program, case: Case | None = None) -> None:
        # engines are kept per program: a strong one would keep both for ever
        self._program = weakref.ref(program)
        self.core = core()
        markers = number_questions(program)
        self.reading = None if case is None else Reading(program, case, markers)
        alternatives = program.alternatives if self.reading is None else relevant(self.reading)
        self.compiled = compile_rules(alternatives, markers)
        self.by_name = {json.dumps(a.id): a for a in alternatives}
        self.known: dict[str, Known] = {}
        self.kept: dict[Record, tuple[str, Rows]] = {}
        self.tails: dict[Record, str] = {}
        self.heads = {
            kind: f'"_":1,"kb":"{self.compiled.buckets[kind]}","k":{json.dumps(kind)}'
            for kind in self.compiled.kinds
        }
        self.rows = {
            number: tuple([(body, f',"t{mark}":1') for body, mark in carried.items()])
            for number, carried in self.compiled.markers.carried.items()
        }
        self.handle = self._create("knockon")
        weakref.finalize(self, self.core.delete_ruleset, self.handle).atexit = False

    def about(self, name: str) -> Known:
        """What is looked up for an alternative, by its name as the engine writes it."""
        a, compiled, markers = self.by_name.get(name), self.compiled, self.compiled.markers
        if a is None:
            raise InferenceFault(f"the rules engine fired `{name}`, which is no rule")
        self.known[name] = Known(
            a,
            markers.conjunctions.get(a.id),
            markers.late.get(a.id),
            compiled.aliases[a.id],
            tuple(number_of(p, markers) for p in a.records),
            compiled.lengths[a.id],
            tuple(i for i, p in enumerate(a.records) if p.kind in MADE),
        )
        return self.known[name]

    def shape(self, record: Record) -> tuple[str, Rows]:
        """A made record's kind to the engine, '' where no rule looks at it, and the marks it may carry."""
        kind = kind_of(record.kind, record.subject)
        rows = [self.rows[n] for n in made_markers(record, self.compiled.markers)]
        kind = kind if kind in self.compiled.kinds else ""
        self.kept[record] = kind, tuple([row for carried in rows for row in carried])
        return self.kept[record]

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
        reading = self.reading or Reading(self.program, case, self.compiled.markers)
        if reading.case is not case:
            raise InferenceFault("this rules engine was made for another case")
        run = Live(self, reading)
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
