"""A plan as the pages need it: lines numbered, grouped by phase, and what can be started now."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import groupby

from ..model.plan import FAILED, HELD, OPEN, PASSED, VOID, WAIVED, Considered, FactSeen, Line, Plan
from ..model.program import Program
from ..model.record import dataclass

DONE = (PASSED, WAIVED)


@dataclass(frozen=True, slots=True)
class Sheet:
    """Numbers are those of the working order; possible lines have none."""

    plan: Plan
    planned: tuple[Line, ...]
    possible: tuple[Line, ...]
    numbers: Mapping[str, int]
    titles: Mapping[str, str]
    slots: Mapping[str, str]

    @classmethod
    def of(cls, plan: Plan) -> Sheet:
        """The sheet of a plan."""
        planned = tuple(line for line in plan.lines if line.standing != "possible")
        possible = tuple(line for line in plan.lines if line.standing == "possible")
        numbers = {line.id: n for n, line in enumerate(planned, 1)}
        facts = (f for line in plan.lines for s in line.because for f in s.facts)
        titles = {line.id: named(line) for line in plan.lines}
        return cls(plan, planned, possible, numbers, titles, {f.slot: f.title for f in facts})

    def phases(self) -> list[tuple[str, bool, tuple[Line, ...]]]:
        """Lines in working order under their phase; True marks a phase that work comes back to."""
        seen: set[str] = set()
        found = []
        for phase, lines in groupby(self.planned, key=lambda line: line.phase):
            found.append((phase, phase in seen, tuple(lines)))
            seen.add(phase)
        return found

    def ready(self) -> tuple[list[Line], list[Line]]:
        """Lines that nothing stands before: those of the phase that work has reached, and later ones."""
        done = {line.id for line in self.planned if line.progress in DONE}
        undone = [
            line for line in self.planned if line.id not in done and line.progress != HELD and not line.holds
        ]
        free = [line for line in undone if done.issuperset(line.after)]
        now = free[0].phase if free else ""
        return [x for x in free if x.phase == now], [x for x in free if x.phase != now]

    def again(self) -> list[Line]:
        """Lines whose result failed or no longer stands."""
        return [line for line in self.planned if line.progress in (FAILED, VOID)]

    def unsure(self) -> list[Line]:
        """Lines somebody must look up or inspect before they are firm."""
        return [line for line in self.planned if line.strength == "check_whether" and line.progress == OPEN]

    def count(self, **wanted: str) -> int:
        """How many planned lines have these attributes."""
        return sum(all(getattr(line, k) == v for k, v in wanted.items()) for line in self.planned)

    def done(self) -> int:
        """How many planned lines are passed or waived."""
        return sum(line.progress in DONE for line in self.planned)

    def waits(self, line: Line) -> list[str]:
        """What a line that is not firm hangs on, in words."""
        return [self.slots.get(slot, slot.replace(".", " ").replace("_", " ")) for slot in line.waits_for]

    def log(self) -> list[dict[str, str]]:
        """The log with each result as it was judged; what was typed may not be what the readings show."""
        judged = {(line.operation, r.at): r.outcome for line in self.plan.lines for r in line.results}
        found = []
        for entry in self.plan.log:
            operation = entry["what"].partition(".")[0]
            result = judged.get((operation, entry["at"]), entry["result"])
            found.append({**entry, "result": result if entry["kind"] == "done" else ""})
        return found

    def numbered(self, ids: Iterable[str]) -> list[tuple[int, str]]:
        """Number and id of those of the given lines that are planned, in working order."""
        return sorted((self.numbers[i], i) for i in set(ids) if i in self.numbers)


def named(line: Line) -> str:
    """Title and place of a line."""
    return f"{line.title}, {line.place.replace('_', ' ')}" if line.place else line.title


def fact_value(fact: FactSeen) -> str:
    """What a fact says; nothing where it is concluded and its title says it all."""
    if fact.origin != "derived":
        return fact.value
    return "" if fact.value == "yes" else fact.value.replace("_", " ")


def considered_sentence(item: Considered, program: Program | None) -> str:
    """Why nothing is asked for; without the program the missing conditions can not be put into words."""
    if program is not None:
        from .text import considered_words

        return considered_words(item, program)
    by = f" ({', '.join(item.rules)})" if item.rules else ""
    if item.kind == "dropped":
        return f"{item.title}: taken off{by}: {item.reason}"
    return f"{item.title}: nothing asked for. " + (
        f"Nearest rule{by}: {item.reason}" if item.reason else "No rule of these packs asks for anything here"
    )
