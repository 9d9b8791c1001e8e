"""What `knockon intake` shows: a question with numbered choices, what hangs on it, what an answer did."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from ..model.plan import Line, Plan, Question
from .plain import Page, clean
from .words import WHO, several

KEYS = "Enter: not known yet   ?: help   a: add a part   b: back   q: stop"
MOST_NAMED = 3
MOST_IN_A_COLUMN = 6
LONG_LIST = 24  # beyond it titles are cut so that two columns fit


def head_text(plan: Plan, path: str, new: bool, page: Page) -> str:
    """The first lines of a session."""
    lead = "a new case" if new else "the case so far"
    parts = [page.emphasise(page.spread(f"INTAKE  {clean(plan.case)}", clean(path)), "strong")]
    parts.append(page.wrap(f"{lead}: {_counts(plan)}. Each answer is saved at once."))
    return "\n".join([*parts, page.wrap(KEYS), ""])


def ask_text(question: Question, left: int, several_allowed: bool, form: str, page: Page) -> str:
    """A question with its numbered choices; `form` says how to type an answer that has none."""
    who = " or ".join(WHO.get(w, w.replace("_", " ")) for w in question.who)
    parts = ["", page.emphasise(page.wrap(question.ask, hang=0), "strong")]
    parts.append(page.wrap(f"[{question.fact}] {several(left, 'question')} left; for: {who}", indent=2))
    parts += choices_text(question.choices, page)
    if several_allowed:
        parts.append(page.wrap("numbers or names with commas between; 0: none of them", indent=2))
    if form:
        parts.append(page.wrap(form, indent=2))
    return "\n".join(parts)


def choices_text(choices: Mapping[str, str], page: Page) -> Iterator[str]:
    """Numbered choices, in as many columns as fit when there are many."""
    items = [f"{n:3d} {clean(title)}" for n, title in enumerate(choices.values(), 1)]
    if len(items) > LONG_LIST:
        room = page.width // 2 - 2
        items = [i if len(i) <= room else f"{i[: room - 1]}…" for i in items]
    widest = max((len(i) for i in items), default=0) + 2
    columns = max(1, page.width // widest) if len(items) > MOST_IN_A_COLUMN else 1
    rows = -(-len(items) // columns)
    for row in range(rows):
        cells = items[row::rows]
        if columns == 1:
            yield page.wrap(
                cells[0].lstrip(), first=cells[0][: len(cells[0]) - len(cells[0].lstrip())], hang=4
            )
        else:
            yield "".join(cell.ljust(widest) for cell in cells).rstrip()


def help_text(question: Question, plan: Plan, page: Page) -> str:
    """What the question means, and what each answer would do; the answers were tried."""
    parts = [page.wrap(question.help, indent=2)] if question.help else []
    parts.append(page.wrap(f"{several(len(question.firms), 'line')} of the plan rest on it.", indent=2))
    for answer, effect in question.answers.items():
        words = [
            f"{verb} {_named(effect[verb], plan)}" for verb in ("adds", "drops", "firms") if effect.get(verb)
        ]
        title = question.choices.get(answer, answer)
        parts.append(page.wrap(f"{title}: {'; '.join(words) or 'changes no line'}", indent=4, hang=6))
    return "\n".join(parts)


def _named(ids: Iterable[str], plan: Plan) -> str:
    ids = list(ids)
    more = f"; and {len(ids) - MOST_NAMED} more" if len(ids) > MOST_NAMED else ""
    return "; ".join(_title(line) for line in map(plan.line, ids[:MOST_NAMED]) if line is not None) + more


def change_text(before: Plan, after: Plan, page: Page) -> str:
    """What an answer did to the plan."""
    old, new = ({line.id: line for line in p.lines if line.standing != "possible"} for p in (before, after))
    added = [line for id_, line in new.items() if id_ not in old]
    dropped = [line for id_, line in old.items() if id_ not in new]
    firmed = [x for id_, x in new.items() if id_ in old and x.standing == "firm" != old[id_].standing]
    parts = [page.wrap(f"saved; {_counts(after)}", first="  = ", hang=4)]
    for mark, word, lines in (("+", "added", added), ("-", "dropped", dropped), ("!", "firm now", firmed)):
        if lines:
            parts.append(page.wrap(f"{len(lines)} {word}: {_titles(lines)}", first=f"  {mark} ", hang=4))
    known = {notice.text for notice in before.notices}
    for notice in after.notices:
        if notice.kind == "dispute" and notice.text not in known:
            parts.append(page.wrap(f"to settle: {notice.text}", first="  ? ", hang=4))
    return "\n".join(parts)


def _titles(lines: list[Line]) -> str:
    more = f"; and {len(lines) - MOST_NAMED} more" if len(lines) > MOST_NAMED else ""
    return "; ".join(map(_title, lines[:MOST_NAMED])) + more


def _title(line: Line) -> str:
    return f"{line.title}{f' ({line.place})' if line.place else ''}".replace("_", " ")


def _counts(plan: Plan) -> str:
    planned = [line for line in plan.lines if line.standing != "possible"]
    firm = sum(line.standing == "firm" for line in planned)
    return f"{several(len(planned), 'line')} planned, {firm} firm, {len(plan.lines) - len(planned)} possible"


def end_text(plan: Plan, path: str, answers: int, here: int, page: Page) -> str:
    """How a session ended: what is saved, what is left here, and for whom the rest is."""
    counts: dict[str, int] = {}
    for question in plan.questions:
        counts[question.who[0]] = counts.get(question.who[0], 0) + 1
    parts = ["", page.wrap(f"{several(answers, 'answer')} saved in {path}; {_counts(plan)}.")]
    if here:
        parts.append(
            page.wrap(f"{several(here, 'question')} of this stage left; `knockon intake {path}` goes on.")
        )
    else:
        parts.append(page.wrap("Nothing left to ask at this stage."))
    if counts and len(plan.questions) > here:
        words = ", ".join(f"{WHO.get(w, w.replace('_', ' '))} {n}" for w, n in sorted(counts.items()))
        parts.append(page.wrap(f"Open in all: {words}."))
    return "\n".join([*parts, page.wrap(f"next: knockon plan {path}")])
