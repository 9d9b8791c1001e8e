"""Strata: what may be looked at through `unless`, and the ring that makes a pack meaningless."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Sequence
from typing import Final

from ..diagnostics.message import Culprit, Messages
from ..model.rule import Alternative, Pattern

MAX_STRATA = 100
Node = tuple[str, str]
ANY: Final = "*"  # reads every subject of its kind
NAMED: Final = "$"  # makes a subject known only when it fires: any of its kind


def made(alternative: Alternative) -> list[Node]:
    """The derived things an alternative can make."""
    found: list[Node] = []
    for effect in alternative.effects:
        for subject in effect.subjects:
            if effect.verb == "severity":
                found += [("severity", str(n)) for n in range(1, int(subject) + 1)]
            elif effect.verb == "plan":
                found += [("planned", NAMED if subject.startswith("$") else subject), ("planned", ANY)]
            elif effect.verb == "conclude":
                found.append(("derived", subject))
            elif effect.verb == "fits":
                found += [("fitted", subject), ("fitted", ANY)]
    return found


def read(patterns: Iterable[Pattern]) -> list[tuple[Node, Pattern]]:
    """The derived things patterns look at."""
    found: list[tuple[Node, Pattern]] = []
    for p in patterns:
        if p.kind in ("derived", "severity", "planned", "fitted"):
            found += [((p.kind, s), p) for s in p.subjects or (ANY,)]
            if p.kind == "planned" and p.subjects:
                found.append(((p.kind, NAMED), p))
    return found


def stratify(alternatives: Sequence[Alternative], messages: Messages) -> dict[str, int] | None:
    """The stratum of every alternative; None, with the ring and its places, when `unless` goes round."""
    level: dict[Node, int] = defaultdict(int)
    result = {a.id: 0 for a in alternatives}
    makers = {a.id: made(a) for a in alternatives}
    needs = {a.id: [n for n, _ in read((*a.ground, *a.records))] for a in alternatives}
    avoids = {a.id: [n for n, _ in read(p for group in a.unless for p in group)] for a in alternatives}
    known = {node for nodes in makers.values() for node in nodes}
    readers: dict[Node, dict[str, None]] = defaultdict(dict)
    for id_ in result:
        for node in (*needs[id_], *avoids[id_]):
            readers[node][id_] = None
    waiting = dict.fromkeys(result)  # in order, each once; only readers of what rose are looked at again
    while waiting:
        id_ = next(iter(waiting))
        del waiting[id_]
        result[id_] = max(
            (0, *(level[n] for n in needs[id_]), *(level[n] + 1 for n in avoids[id_] if n in known))
        )
        if result[id_] > MAX_STRATA:
            _report(alternatives, makers, id_, messages)
            return None
        for node in makers[id_]:
            if level[node] < result[id_]:
                level[node] = result[id_]
                waiting |= readers[node]
    return result


def _report(
    alternatives: Sequence[Alternative], makers: dict[str, list[Node]], highest: str, messages: Messages
) -> None:
    """Name every rule of one ring that goes through an `unless`; where there is none, the rule that stands too high."""
    edges: dict[Node, list[tuple[Node, Alternative]]] = defaultdict(list)
    for a in alternatives:
        bodies = [n for n, _ in read((*a.ground, *a.records, *(p for g in a.unless for p in g)))]
        for head in makers[a.id]:
            edges[head] += [(body, a) for body in bodies]
    for a in alternatives:
        for body, pattern in read(p for group in a.unless for p in group):
            for head in makers[a.id]:
                path = _path(edges, body, head)
                if path is not None:
                    rules = [a, *path]
                    spans = [Culprit(pattern.span, "looked at through `unless` here")]
                    spans += [Culprit(r.rule.span, f"`{r.rule.id}`") for r in dict.fromkeys(rules)]
                    ring = " -> ".join(r.rule.id for r in dict.fromkeys(rules))
                    text = f"`unless` goes in a circle: {ring} -> {a.rule.id}"
                    step = "let `unless` look at facts, or at something that does not depend on this rule"
                    messages.add("KN231", text, *spans, next_step=step)
                    return
    rule = next(a.rule for a in alternatives if a.id == highest)
    text = f"`{rule.id}` rests on more than {MAX_STRATA} levels of `unless`, one looking at the next"
    messages.add("KN221", text, rule.span, next_step="shorten the chain: let `unless` look at facts")


def _path(
    edges: dict[Node, list[tuple[Node, Alternative]]], start: Node, goal: Node
) -> list[Alternative] | None:
    """The rules on a way from start down to goal; [] when they are the same; None when there is none."""
    came: dict[Node, tuple[Node, Alternative]] = {}
    queue = deque([start])
    while queue and goal not in came:
        node = queue.popleft()
        for body, rule in edges[node]:
            if body not in came and body != start:
                came[body] = node, rule
                queue.append(body)
    if start != goal and goal not in came:
        return None
    found: list[Alternative] = []
    while goal != start:
        goal, rule = came[goal]
        found.insert(0, rule)
    return found
