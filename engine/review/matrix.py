"""Systems against kinds of event: which rules ask for which operation, and where nobody asks for anything."""

from __future__ import annotations

from collections.abc import Mapping

from ..infer.lines import strengths, there
from ..infer.run import infer
from ..load.slots import assemble
from ..load.values import number
from ..model.answers import DATE_FACT
from ..model.case import Answers, Case
from ..model.catalogue import Value
from ..model.outcome import POSSIBLE, PROVISIONAL
from ..model.program import Program, alternatives_by_id
from ..model.record import dataclass
from ..model.rule import STRENGTHS

EVENT, AREA = "event_type", "area"
ALONE, MORE, ANYWAY = "alone", "more", "anyway"
WHOLE_VEHICLE = ""


@dataclass(frozen=True, slots=True)
class Column:
    """One kind of event, or one area of the kind that is assumed while nobody has said."""

    id: str
    title: str
    answers: Mapping[str, frozenset[Value]]


@dataclass(frozen=True, slots=True)
class Ask:
    """A rule that asks for an operation.

    `how`: `alone`, the column's answer and the cautious assumptions are enough; `more`, further facts must
    say so; `anyway`, further facts could say so even had nothing happened.
    """

    operation: str
    rule: str
    strength: str
    how: str


@dataclass(frozen=True, slots=True)
class Matrix:
    """Rows are system ids, the empty one standing for the whole vehicle; a cell without asks is a hole."""

    columns: tuple[Column, ...]
    rows: tuple[str, ...]
    cells: Mapping[tuple[str, str], tuple[Ask, ...]]


Asks = dict[tuple[str, str, str], Ask]


def matrix(program: Program) -> Matrix:
    """Ask the engines themselves: one case per column in which nothing else is known."""
    columns = _columns(program)
    nothing = program.facts[EVENT].clear if EVENT in program.facts else ()
    anyway = set(_asks(program, Column("", "", {EVENT: frozenset(nothing)}), set()))
    cells: dict[tuple[str, str], tuple[Ask, ...]] = {}
    rows = (WHOLE_VEHICLE, *program.systems)
    for column in columns:
        asks = _asks(program, column, anyway)
        for row in rows:
            here = [ask for (system, _, _), ask in asks.items() if system == row]
            cells[row, column.id] = tuple(sorted(here, key=_order))
    return Matrix(columns, rows, cells)


def _order(ask: Ask) -> tuple[int, int, str, str]:
    strongest_first = -STRENGTHS.index(ask.strength)
    return ((ALONE, MORE, ANYWAY).index(ask.how), strongest_first, ask.operation, ask.rule)


def _columns(program: Program) -> tuple[Column, ...]:
    found = []
    event, area = program.facts.get(EVENT), program.facts.get(AREA)
    if event:
        found += [Column(v, title, {EVENT: frozenset((v,))}) for v, title in event.values.items()]
    if event and area and event.assume:
        kind = frozenset(event.assume[0].values)
        title = ", ".join(event.values.get(str(v), str(v)) for v in sorted(map(str, kind)))
        for value, where in area.values.items():
            answers = {EVENT: kind, AREA: frozenset((value,))}
            found.append(Column(f"at_{value}", f"{title}: {where}", answers))
    return tuple(found)


def _asks(program: Program, column: Column, anyway: set[tuple[str, str, str]]) -> Asks:
    """Every (system, operation, rule) of one column, in its strongest form."""
    answers = Answers()
    for fact, values in column.answers.items():
        answers.say(("fact", fact), values)
    date = program.packs[0].date
    answers.say(("fact", DATE_FACT), frozenset((number(date),)))
    case = Case(column.id, date, {}, assemble(answers, program), {}, (), {}, ())
    outcome = infer(program, case)
    found: Asks = {}
    by_id = alternatives_by_id(program)
    for standing in (POSSIBLE, PROVISIONAL):
        supports, fitted = strengths(program, outcome[standing]), there(program, case, outcome)[standing]
        for record, firings in supports.makers.items():
            if record.kind != "planned":
                continue
            systems = program.operations[record.subject].systems
            if systems and fitted.isdisjoint(systems):
                continue
            for firing in firings:
                rule = by_id[firing.alternative].rule
                for system in systems or (WHOLE_VEHICLE,):
                    key = (system, record.subject, rule.id)
                    how = ALONE if standing == PROVISIONAL else ANYWAY if key in anyway else MORE
                    ask = Ask(record.subject, rule.id, supports.of(firing, rule), how)
                    if key not in found or _order(ask) < _order(found[key]):
                        found[key] = ask
    return found
