"""One case in the rules engine's live state.

It is told whatever holds in some pass and finds the matches and chains of all three at once; each match then holds
in those passes in which everything it rests on holds.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from ..diagnostics.message import InferenceFault
from ..model.outcome import ALL, BIT, Firing, Fixpoint, Record
from ..model.record import dataclass, field
from ..model.rule import Alternative
from .compile import conjunction_kind, late_kind
from .encode import CHUNK, Marks, Reading
from .made import effects

if TYPE_CHECKING:
    from .rules_engine import RulesEngine

MAX_FIRINGS = 200_000
MAX_RECORDS = 700_000
# as `Live._tell` writes every record; most rules have one condition, and then this is all of the message that counts
_FIRED = re.compile(r'\{("(?:[^"\\]|\\.)*"):\{"c[0-9]+":\{"sid":"s","id":"([0-9]+)"')
_MET = re.compile(r'"c[0-9]+":\{"sid":"s","id":"([0-9]+)"')
Row = tuple[int | None, str]  # a mark, and the conjunction that has to hold for it
Rows = tuple[Row, ...]


@dataclass(slots=True)
class Known:
    """What is looked up for each alternative when it fires. `chained`: which of its records rules may make."""

    alternative: Alternative
    body: int | None
    late: int | None
    aliases: tuple[int, ...]
    numbers: tuple[int, ...]
    length: int
    chained: tuple[int, ...]


@dataclass(slots=True)
class Told:
    """A record of the run: the patterns it meets by the case, the passes it was made in, and what rests on it."""

    record: Record
    given: Marks
    made: int = 0
    resting: list[Match] = field(default_factory=list)


@dataclass(slots=True)
class Match:
    """What fired: the alternative, the records it met, and the passes in which it was found to hold so far."""

    known: Known
    met: list[Told]
    mask: int = 0


class Live:
    """One case in the live state: what the engine was told, by its numbers, and what fired."""

    def __init__(self, engine: RulesEngine, reading: Reading) -> None:
        self.engine, self.reading = engine, reading
        self.core, self.compiled, self.program = engine.core, engine.compiled, engine.program
        self.asserted: list[Told | None] = []
        self.told: dict[Record, Told] = {}
        self.looked_up: set[str] = set()
        self.grown: list[Told] = []
        self.bodies = reading.conjunctions()
        self.late: dict[int, int] = {}
        self.fired: dict[Firing, Match] = {}
        self.state = 0

    def stratum(self, number: int) -> None:
        """Tell the engine what is new in a stratum, then run it dry."""
        if number == 0:
            self._tell_case()
        open_, made = [], {t.record: t.made for t in self.told.values() if t.made}
        for n, (level, groups) in enumerate(self.compiled.markers.late_groups):
            if level == number:
                self.late[n] = self.reading.open(groups, made)
                if self.late[n]:
                    open_.append(f',"u{n}":1')
        if open_:
            self._tell(late_kind(number), None, open_)
        self._drain()
        while self.grown:  # what rests on a record holds in the passes it has come to hold in
            for match in self.grown.pop().resting:
                self._hold(match)
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
        told = self.told.get(record)
        if told is None:
            told = self.told[record] = Told(record, held)
        else:
            told.given = {**told.given, **held}
        kind = f"{record.kind}+" if record.kind in ("touched", "damaged") and record.system else record.kind
        rows = self.engine.rows
        self._tell_marked(kind, told, [row for number in held for row in rows[number]])

    def _tell_marked(self, kind: str, told: Told, rows: Iterable[Row]) -> None:
        """Tell a record with the patterns it meets, each together with the conjunctions some rule wants with it."""
        bodies = self.bodies
        marks = [mark for body, mark in rows if body is None or bodies[body]]
        if marks:
            self._tell(kind, told, marks)

    def _tell(self, kind: str, told: Told | None, marks: Sequence[str]) -> None:
        """Each condition asks for one mark, so a record with more marks than the library takes is told in copies."""
        if kind not in self.compiled.kinds:
            return
        record = told.record if told else None
        for i in range(0, len(marks) or 1, CHUNK):
            number = len(self.asserted)
            if number > MAX_RECORDS:
                raise InferenceFault("too many records for one case")
            self.asserted.append(told)
            text = self.engine.text(kind, record, marks[i : i + CHUNK])
            code, self.state = self.core.assert_fact(
                self.engine.handle, f'{{"sid":"s","id":"{number}",{text}}}'
            )
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
            fired = _FIRED.match(message)
            if fired is None:
                raise InferenceFault(f"the rules engine fired `{message[:40]}`, which is no rule")
            a = known.get(fired[1]) or self.engine.about(fired[1])
            self._fire(a, [fired[2]] if a.length == 1 else _MET.findall(message))
            message = self.core.complete_and_start_action(handle, self.state)

    def _fire(self, a: Known, met: list[str]) -> None:
        if len(met) != a.length:
            id_ = a.alternative.id
            raise InferenceFault(f"the rules engine's match of `{id_}` cannot be read", a.alternative.rule.id)
        asserted = self.asserted
        told: list[Told] = [asserted[int(met[i])] for i in a.aliases]  # type: ignore[misc]
        firing = Firing(a.alternative.id, tuple([t.record for t in told]))
        if firing in self.fired:
            return
        if len(self.fired) > MAX_FIRINGS:
            rule = a.alternative.rule.id
            raise InferenceFault(f"too many firings; the last is of `{rule}`", rule)
        match = self.fired[firing] = Match(a, told)
        for i in a.chained:
            told[i].resting.append(match)
        self._hold(match)

    def _hold(self, match: Match) -> None:
        """Find the passes in which a match holds, and tell what it makes."""
        a = match.known
        mask = ALL if a.body is None else self.bodies[a.body]
        if a.late is not None:
            mask &= self.late[a.late]
        for number, told in zip(a.numbers, match.met, strict=True):
            mask &= told.made | told.given.get(number, 0)
        if mask == match.mask:
            return
        match.mask = mask
        for record in effects(a.alternative, tuple([t.record for t in match.met]), self.program):
            made = self.told.get(record)
            if made is None:
                made = self.told[record] = Told(record, {})
            before, made.made = made.made, made.made | mask
            if not before:
                self._tell_made(made)
            if made.resting and made.made != before:  # a fitted system may have been given before
                self.grown.append(made)

    def _tell_made(self, told: Told) -> None:
        record = told.record
        if record.kind == "planned" and record.subject not in self.looked_up:
            self.looked_up.add(record.subject)
            said, held = self.reading.procedure(record.subject)
            if held:
                self._tell_given(said, held)
        kind, rows = self.engine.kept.get(record) or self.engine.shape(record)
        if kind:
            self._tell_marked(kind, told, rows)

    def passes(self) -> dict[str, Fixpoint]:
        """What was found, pass by pass; passes that found the same are the same object."""
        found: dict[str, Fixpoint] = {}
        records = [t for t in self.told.values() if t.made]
        for standing, bit in BIT.items():
            fired = tuple([firing for firing, match in self.fired.items() if match.mask & bit])
            fixpoint = Fixpoint(fired, frozenset([t.record for t in records if t.made & bit]))
            found[standing] = next((f for f in found.values() if f == fixpoint), fixpoint)
        return found

    def close(self) -> None:
        """Delete the state whatever happened, so that the slot is clean for the next case."""
        for told in self.told.values():
            told.resting = []  # a ring of records and matches would wait for the search for garbage
        if self.asserted:
            try:
                self.core.delete_state(self.engine.handle, "s")
            except Exception as error:
                if "309" not in str(error):  # 309: there was no state
                    raise
