"""Why a line is there, at three depths, and why one is not."""

from __future__ import annotations

from collections.abc import Iterator

from ..explain.tree import Proof
from ..explain.whynot import WhyNot
from ..model.plan import FactSeen, Line
from ..model.program import Program
from ..model.rule import Rule
from .phrases import fact_words, pattern_words, slot_words
from .plain import Page
from .text import line_text
from .words import STRENGTH


def why_sentence(line: Line, page: Page) -> str:
    """One sentence: the line, its strength, the first reason, the facts."""
    best = max(line.because, key=lambda s: (s.strength == line.strength, s.strength == "required"))
    facts = "; ".join(fact_words(f) for f in best.facts)
    sentence = f"{line.title}: {STRENGTH[line.strength]}, because {best.why}"
    return page.wrap(f"{sentence} ({best.rule}{'; ' if facts else ''}{facts})") + "\n"


def why_supports(line: Line, page: Page) -> str:
    """Every rule that asks for the line, with facts and sources."""
    return "\n".join(line_text(line, page, "")) + "\n"


def why_tree(tree: Proof, page: Page) -> str:
    """The whole tree down to observed facts, with file and line."""
    return "\n".join(_tree(tree, page, 0)) + "\n"


def _tree(tree: Proof, page: Page, depth: int) -> Iterator[str]:
    pad = "  " * depth
    place = f" ({tree.record.place.replace('_', ' ')})" if tree.record.place else ""
    level = f" {tree.record.subject}" if tree.record.kind == "severity" else ""
    again = "  (shown above)" if tree.again else ""
    yield page.wrap(f"{tree.title}{level}{place}{again}", first=pad, hang=len(pad) + 2)
    for support, leaves, below in tree.supports:
        yield page.wrap(
            f"{support.title} [{STRENGTH[support.strength]}] ({support.at})",
            first=f"{pad}  <- {support.rule} ",
            hang=len(pad) + 5,
        )
        for fact in leaves:
            yield page.wrap(_leaf(fact), first=f"{pad}     . ", hang=len(pad) + 7)
        for child in below:
            yield from _tree(child, page, depth + 3)


def _leaf(fact: FactSeen) -> str:
    at = f" [{fact.at}]" if fact.at.file else ""
    return f"{fact_words(fact)}{at}"


def why_not_text(answer: WhyNot, program: Program, page: Page) -> str:
    """Why an operation is not on the plan, and what would bring it there."""
    return "\n".join(_why_not(answer, program, page)) + "\n"


def _why_not(answer: WhyNot, program: Program, page: Page) -> Iterator[str]:
    title = program.operations[answer.operation].title
    place = f" ({answer.place.replace('_', ' ')})" if answer.place else ""
    if answer.on_plan:
        yield page.wrap(f"{title}{place} is on the plan; ask `knockon why` instead")
        return
    state = "is not on the plan" + ("; another answer could bring it in" if answer.possible else "")
    yield page.wrap(f"{title}{place} {state}.")
    if answer.not_fitted:
        named = ", ".join(program.systems[s].title for s in answer.not_fitted)
        yield page.wrap(f"It serves only systems that are not fitted here: {named}.", indent=2)
    if answer.dropped and answer.dropped.dropped:
        ids = ", ".join(dict.fromkeys(f.alternative.partition("#")[0] for f in answer.dropped.dropped))
        why = program.rules[ids.split(", ")[0]].why
        yield page.wrap(f"It was asked for and taken off by {ids}: {why}", indent=2)
    for id_, rule in answer.overridden:
        yield page.wrap(_overridden(id_, rule), indent=2)
    if answer.misses:
        yield page.heading("NEAREST RULES, AND WHAT THEY LACK HERE")
    for miss in answer.misses:
        yield page.wrap(miss.rule.title, first=f"  {miss.rule.id} ", hang=4)
        for pattern in miss.fails:
            yield page.wrap(pattern_words(pattern, program), first="     lacks: ", hang=9)
        for pattern in miss.blocked:
            yield page.wrap(pattern_words(pattern, program), first="     blocked, because: ", hang=9)
    yield page.heading("SMALLEST CHANGE THAT WOULD BRING IT IN (each was run)")
    for change in answer.changes:
        words = " and ".join(slot_words(slot, values, program) for slot, values in sorted(change.items()))
        yield page.wrap(words, first="  - ", hang=4)
    if not answer.changes:
        yield page.wrap("none found within three answers", indent=2)


def _overridden(id_: str, rule: Rule) -> str:
    how = "withdrawn" if rule.withdraws else "replaced"
    return f"Rule {id_} of a lower pack is {how} by {rule.id} of pack {rule.pack}: {rule.why}"
