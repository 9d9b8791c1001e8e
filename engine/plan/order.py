"""Working order: phase by phase, and within a phase what must come first; stable for the same lines."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping
from functools import lru_cache

from ..infer.lines import LineId
from ..model.catalogue import after_ids
from ..model.places import meets
from ..model.program import Program


@lru_cache(maxsize=8)
def ranks(program: Program) -> Mapping[str, tuple[int, int]]:
    """Phase and catalogue position of every operation."""
    phases = list(program.phases)
    return {o.id: (phases.index(o.phase), i) for i, o in enumerate(program.operations.values())}


@lru_cache(maxsize=8)
def before(program: Program) -> Mapping[str, tuple[str, ...]]:
    """For each operation the operations it comes after."""
    return {o: tuple(after_ids(program.operations, o)) for o in program.operations}


def predecessors(program: Program, lines: Iterable[LineId]) -> dict[LineId, tuple[LineId, ...]]:
    """For each line the lines of this plan that must be done before it, where their places meet."""
    by_operation: dict[str, list[LineId]] = {}
    for line in lines:
        by_operation.setdefault(line[0], []).append(line)
    needed = before(program)
    found: dict[LineId, tuple[LineId, ...]] = {}
    for operation, alike in by_operation.items():
        first = [other for o in needed[operation] if o in by_operation for other in by_operation[o]]
        for line in alike:
            found[line] = tuple([other for other in first if meets(other[1], line[1])])
    return found


def working_order(program: Program, lines: Iterable[LineId]) -> list[LineId]:
    """The lines in an order that respects every precedence; among free lines phase and catalogue decide."""
    return in_order(program, predecessors(program, lines))


def in_order(program: Program, needed: Mapping[LineId, tuple[LineId, ...]]) -> list[LineId]:
    """The same for lines whose predecessors are known."""
    rank = ranks(program)
    waiting = {line: len(needed[line]) for line in needed}
    followers: dict[LineId, list[LineId]] = {line: [] for line in needed}
    for line, firsts in needed.items():
        for first in firsts:
            followers[first].append(line)
    ready = [(*rank[line[0]], line) for line, count in waiting.items() if not count]
    heapq.heapify(ready)
    order: list[LineId] = []
    while ready:
        *_, line = heapq.heappop(ready)
        order.append(line)
        for follower in followers[line]:
            waiting[follower] -= 1
            if not waiting[follower]:
                heapq.heappush(ready, (*rank[follower[0]], follower))
    return order
