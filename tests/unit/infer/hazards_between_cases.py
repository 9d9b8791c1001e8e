"""Hazards of the rules library that need more than one case: states, errors, memory. One process for each."""

from __future__ import annotations

import gc
import itertools
import sys
from pathlib import Path
from typing import Any

import pytest
from knockon.engine.diagnostics.message import InferenceFault
from knockon.engine.infer import run
from knockon.engine.infer.rules_engine import RulesEngine
from knockon.engine.model.case import State
from knockon.engine.model.outcome import FIRM
from small_packs import (
    agree,
    case,
    conclude,
    damaged,
    derived,
    plan,
    program,
    rule,
    touched,
)


def no_firing_in_the_first_case() -> None:
    pack = program(rule("R1", [touched("p")], plan("o")), parts={"p": ("",)})
    engine = RulesEngine(pack)
    for _ in range(200):
        assert agree(engine, pack, case({("touched", "p", ""): "rr"})) == 0
    assert agree(engine, pack, case({("touched", "p", ""): "ri"})) == 3


def no_record_at_all() -> None:
    """A case that tells the engine nothing has no state, neither before nor after one that has."""
    pack = program(rule("R1", [touched("p"), derived("d")], plan("o")), parts={"p": ("",)})
    engine = RulesEngine(pack)
    for slots in ({}, {("touched", "p", ""): "ri"}, {}, {("fact", "x"): "y"}):
        assert agree(engine, pack, case(slots)) == 0


def the_agenda_starts_again_after_it_ran_dry() -> None:
    """Six strata; in some of them nothing fires, in some nothing had been told before."""
    rules = [rule("R0", [touched("p")], conclude("d0"))]
    for i in range(1, 6):
        rules.append(rule(f"R{i}", [], conclude(f"d{i}"), unless=[[derived(f"d{i - 1}")]]))
        rules.append(
            rule(f"J{i}", [touched("$p", "$s"), damaged("$p", "$s")], plan("o"), unless=[[derived(f"d{i}")]])
        )
        rules.append(rule(f"E{i}", [derived(f"d{i}"), touched("p")], plan("o")))
    pack = program(*rules, parts={"p": ("left", "right"), "q": ("left",)})
    assert pack.strata == 7
    engine = RulesEngine(pack)
    left, right, broken = ("touched", "p", "left"), ("touched", "p", "right"), ("damaged", "p", "right")
    fired = set()
    for answers in itertools.product(("", "ri"), ("", "ri"), ("", "broken")):
        given = case(dict(zip((left, right, broken), answers, strict=True)))
        fired.add(agree(engine, pack, given))
        opened = {s: State(None, state.known or frozenset()) for s, state in given.slots.items()}
        agree(engine, pack, case(opened))
    assert len(fired) > 2


class Breaking:
    """The library's core, with an error at one of its calls."""

    def __init__(self, core: Any, at: int, error: BaseException) -> None:
        self.core, self.left, self.error = core, at, error

    def __getattr__(self, name: str) -> Any:
        return getattr(self.core, name)

    def assert_fact(self, *args: Any) -> Any:
        self.left -= 1
        if self.left == 0:
            raise self.error
        return self.core.assert_fact(*args)


def an_error_in_the_middle_of_a_case() -> None:
    """Wherever it strikes, that case fails by name and the next one is right."""
    rules = [rule("R", [touched("$p", "$s"), damaged("$p", "$s")], conclude("d"), plan("o"))]
    rules += [rule("C", [derived("d")], plan("o")), rule("U", [], plan("o"), unless=[[derived("d")]])]
    pack = program(*rules, parts={"p": ("left", "right")})
    given = case(
        {(k, "p", s): w for s in ("left", "right") for k, w in (("touched", "ri"), ("damaged", "broken"))}
    )
    engine = RulesEngine(pack)
    core = engine.core
    for error in (RuntimeError("no more"), core.error("303"), KeyboardInterrupt()):
        struck = 0
        for at in range(1, 8):
            engine.core = Breaking(core, at, error)
            try:
                engine.fixpoints(given)
            except InferenceFault as fault:
                struck += "the rules engine failed" in fault.text
            except KeyboardInterrupt:
                struck += 1
            engine.core = core
            assert agree(engine, pack, given) == 9
            assert agree(engine, pack, case()) == 3
        assert struck == 6, struck


def a_refused_record_is_a_fault() -> None:
    """A result code that means `not stored` is never passed over."""
    pack = program(rule("R", [touched("p")], plan("o")), parts={"p": ("",)})
    engine = RulesEngine(pack)
    core = engine.core
    real = Breaking(core, -1, RuntimeError())
    real.assert_fact = lambda *args: (2, core.assert_fact(*args)[1])  # type: ignore[method-assign]
    engine.core = real
    with pytest.raises(InferenceFault, match="code 2"):
        engine.fixpoints(case({("touched", "p", ""): "ri"}))
    engine.core = core
    assert agree(engine, pack, case({("touched", "p", ""): "ri"})) == 3


def rss() -> int:
    """Resident memory in bytes."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096


def memory_stays_flat() -> None:
    """3000 cases of one engine, with joins, chains and strata, and no growth worth the name."""
    rules = [rule(f"R{i}", [touched("$p", "$s"), damaged("$p", "$s")], conclude(f"d{i}")) for i in range(12)]
    rules += [
        rule(f"C{i}", [derived(f"d{i}")], plan("o"), unless=[[derived(f"d{i - 1}")]]) for i in range(1, 6)
    ]
    pack = program(*rules, parts={f"p{i}": ("left", "right") for i in range(4)})
    engine = RulesEngine(pack)
    given = [
        case(
            {
                ("touched", f"p{i}", "left"): "ri",
                ("damaged", f"p{i}", "left"): "broken",
                ("touched", "p0", "right"): State(None),
            }
        )
        for i in range(4)
    ]
    for i in range(500):
        engine.fixpoints(given[i % 4])
    gc.collect()
    before = rss()
    for i in range(3000):
        engine.fixpoints(given[i % 4])
    gc.collect()
    assert rss() < before * 1.05, (before, rss())


def engines_go_with_their_programs() -> None:
    """Trying many packs in one process keeps neither the packs nor their rule sets."""
    given = case({("touched", "p", ""): "ri"})
    for _ in range(50):
        pack = program(*(rule(f"R{i}", [touched("p")], plan("o")) for i in range(30)), parts={"p": ("",)})
        for _ in range(run.FEW + 1):  # parts of it first, then all of it
            assert len(run.infer(pack, given)[FIRM].firings) == 30
        assert pack in run.ENGINES
        del pack
    gc.collect()
    assert len(run.ENGINES) <= 1


def parts_come_and_go() -> None:
    """A rule set for each case, made and given back: no memory stays, and the whole one beside them is not touched."""
    pack = program(
        *(rule(f"R{i}", [touched("$p"), damaged("$p")], plan("o")) for i in range(30)),
        rule("NEVER", [damaged("q")], plan("o")),
        parts={"p": ("left",), "q": ("",)},
    )
    whole, given = (
        RulesEngine(pack),
        case({("touched", "p", "left"): "ri", ("damaged", "p", "left"): "broken"}),
    )
    for _ in range(150):
        assert agree(RulesEngine(pack, given), pack, given) == 90
    gc.collect()
    before = rss()
    for _ in range(600):
        assert agree(RulesEngine(pack, given), pack, given) == 90
        assert agree(whole, pack, given) == 90
    gc.collect()
    assert rss() < before * 1.05, (before, rss())


def two_engines_side_by_side() -> None:
    """Cases of two programs in turn do not meet."""
    first = program(rule("R", [touched("p")], plan("o")), parts={"p": ("",)})
    second = program(rule("R", [damaged("p")], plan("o")), parts={"p": ("",)})
    one, two = RulesEngine(first), RulesEngine(second)
    for _ in range(50):
        given = case({("touched", "p", ""): "ri"})
        assert (agree(one, first, given), agree(two, second, given)) == (3, 0)


if __name__ == "__main__":
    globals()[sys.argv[1]]()
