"""Promises: proved, refuted by a smallest case that the engines confirm, or left undecided; never guessed."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from command import built_in
from knockon.engine.diagnostics.message import InferenceFault, InputError, Messages
from knockon.engine.load.cache import built_in_folders
from knockon.engine.load.case import load_case
from knockon.engine.load.pack import load_program
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.plan.build import make_plan
from knockon.engine.review import asp
from knockon.engine.review.promise import PROVED, REFUTED, UNDECIDED, Bounds, Verdict, due, prove

pytest.importorskip("clingo")
Tiny = Callable[..., Program]
ALL = "why: so it is}"


def promised(*promises: str) -> str:
    """Promises for the tiny pack, written where its scenarios stand."""
    return "  []\npromises:\n" + "".join(f"  - {{{p}, {ALL}\n" for p in promises)


def verdict(tiny: Tiny, promise: str, bounds: Bounds | None = None, **changed: str | None) -> Verdict:
    (only,) = prove(tiny(scenarios=promised(f"id: P1, title: it holds, {promise}"), **changed), bounds=bounds)
    return only


@pytest.mark.parametrize(
    ("promise", "state", "takes"),
    [
        ("then: [{planned: sign, strength: required}]", PROVED, []),
        ("whenever: [{fact: event_type, is: collision}, {fitted: eye}], then: [{planned: look}]", PROVED, []),
        ("whenever: [{fact: event_type, is: hail}], then: [{not_planned: aim}]", PROVED, []),
        ("whenever: [{planned: aim}], then: [{planned: look}, {before: [look, aim]}]", PROVED, []),
        ("then: [{before: [aim, look]}]", REFUTED, ["event_type: collision", "eye: yes", "touched nose"]),
        ("whenever: [{derived: d_jolt}], then: [{planned: look}]", REFUTED, ["event_type: collision"]),
        ("whenever: [{fact: wet, is: yes}], unless: [{fact: area, some: true}], then: [{not_planned: wipe}]",
         PROVED, []),
        ("whenever: [{fact: area, any_of: [rear], side: $s}, {fact: wet, is: yes}],"
         " then: [{planned: wipe, side: $s}]", PROVED, []),
        ("whenever: [{fact: area, any_of: [rear]}, {fact: wet, is: yes}], then: [{planned: wipe, side: all}]",
         REFUTED, ["area: rear", "wet: yes"]),
        ("whenever: [{derived: d_jolt}], then: [{held: aim}]", REFUTED, ["event_type: collision"]),
        ("whenever: [{derived: d_jolt}, {fact: wet, is: yes}], then: [{held: aim}]", PROVED, []),
        ("whenever: [{any: [[{planned: aim}], [{planned: wipe}]]}], then: [{planned: look}]",
         REFUTED, ["area: ", "wet: yes"]),
    ],
)  # fmt: skip
def test_what_is_proved_and_what_the_smallest_case_takes(
    tiny: Tiny, promise: str, state: str, takes: list[str]
) -> None:
    found = verdict(tiny, promise)
    head = [line for line in found.case.splitlines() if line.startswith("#   ")]
    assert (found.state, found.smallest, len(head)) == (state, True, len(takes))
    assert all(any(word in line for line in head) for word in takes)


def test_a_weaker_strength_breaks_a_promise_of_required(tiny: Tiny) -> None:
    rule = (
        "title: Always signed, when: [], then: [{plan: sign}], strength: unless_procedure, why: it moves,"
        + (" source: [{id: habit, at: p. 1}]}")
    )
    assert verdict(tiny, "then: [{planned: sign}]", T000=rule).state == PROVED
    assert verdict(tiny, "then: [{planned: sign, strength: required}]", T000=rule).state == REFUTED


def test_a_bound_is_kept_and_stated(tiny: Tiny) -> None:
    promise = "whenever: [{derived: d_jolt}], then: [{not_planned: aim}]"
    assert verdict(tiny, promise).state == REFUTED
    bounded = verdict(tiny, promise, Bounds(touched=0, damaged=3, results=2))
    assert bounded.state == PROVED
    for words in ("at most 0 parts touched", "at most 3 parts damaged", "at most 2 standing results"):
        assert words in bounded.bound
    assert "any number of parts touched" in verdict(tiny, promise).bound


def test_a_counterexample_is_a_case_the_planner_runs(tmp_path: Path) -> None:
    base = built_in(1)
    kept = tuple(a for a in base.alternatives if a.rule.id not in ("R041", "R042", "R043"))
    weakened = replace(base, alternatives=kept)
    promise = next(p for p in base.promises if p.rule.id == "P002")
    assert prove(base, [promise])[0].state == PROVED
    (found,) = prove(weakened, [promise])
    assert found.state == REFUTED
    (tmp_path / "case.yaml").write_text(found.case)
    messages = Messages()
    plan = make_plan(weakened, load_case(tmp_path / "case.yaml", weakened, messages))
    assert (list(messages), plan.line("ocs_check")) == ([], None)
    assert plan.line("scan_pre") is not None
    assert make_plan(base, load_case(tmp_path / "case.yaml", base)).line("ocs_check") is not None


def test_a_counterexample_the_engines_do_not_confirm_is_a_fault(
    tiny: Tiny, monkeypatch: pytest.MonkeyPatch
) -> None:
    honest = asp.Translation._rule

    def forgetful(self: asp.Translation, number: int, a: asp.Alternative) -> None:
        if a.rule.id != "T002":
            honest(self, number, a)

    monkeypatch.setattr(asp.Translation, "_rule", forgetful)
    with pytest.raises(InferenceFault, match="P1 that the engines do not confirm"):
        verdict(tiny, "whenever: [{derived: d_jolt}, {fitted: eye}], then: [{planned: look}]")


def test_without_the_solver_the_message_says_how_to_get_it(
    tiny: Tiny, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = tiny(scenarios=promised("id: P1, title: it holds, then: [{planned: sign}]"))
    monkeypatch.setitem(sys.modules, "clingo", None)
    with pytest.raises(InputError) as error:
        prove(program)
    (message,) = error.value.messages.errors
    assert (message.code, ".[prove]" in message.next_step) == ("KN601", True)


def test_out_of_time_is_undecided_never_proved() -> None:
    base = built_in(1)
    states = {v.state for v in prove(base, base.promises[:1], limit_seconds=0.0)}
    assert states <= {UNDECIDED, PROVED}  # a fast machine may be done at once; refuted it can never be


@pytest.mark.parametrize(
    ("promise", "code", "text"),
    [
        ("then: [{planned: lok}]", "KN201", "no operation is called `lok`"),
        ("whenever: [{fitted: nose}], then: [{planned: look}]", "KN201", "no system is called `nose`"),
        ("then: [{planned: wipe, side: $s}]", "KN218", "`$s` is not bound"),
        ("then: [{planned: wipe, side: inside}]", "KN201", "no place is called `inside`"),
        ("then: [{planned: look, held: look}]", "KN234", "promises exactly one thing"),
        ("then: [{before: [look, aim], side: left}]", "KN234", "promises exactly one thing"),
        ("then: [{side: left}]", "KN234", "promises exactly one thing"),
        ("unless: [{touched: any, side: $s}], then: [{planned: look}]", "KN217", "can bind no name"),
        ("then: [{before: [look]}]", "KN114", "too few"),
        ("then: []", "KN114", ""),
    ],
)
def test_a_wrong_promise_gets_a_message_with_its_place(
    tiny: Tiny, promise: str, code: str, text: str
) -> None:
    with pytest.raises(InputError) as error:
        tiny(scenarios=promised(f"id: P1, title: it holds, {promise}"))
    found = [m for m in error.value.messages.errors if m.code == code and text in m.text]
    assert found, [m.text for m in error.value.messages.errors]
    assert found[0].culprits[0].span.line > 2


def test_a_stack_owes_its_own_promises_and_those_every_pack_must_keep() -> None:
    base = built_in(1)
    stack = built_in()
    assert len(due(base)) == len(base.promises) >= 15
    bound = [p.rule.id for p in base.promises if p.kept_by_all]
    assert len(bound) == 3
    assert [p.rule.id for p in due(stack) if p.rule.pack == "base"] == bound


@pytest.mark.parametrize(
    "markets", [[], ["us_federal"], ["un_regulations"], ["us_federal", "un_regulations"]]
)
def test_base_and_every_stack_keep_their_promises(markets: list[str]) -> None:
    folders = [f for f in built_in_folders() if f.name in ("base", *markets)]
    program = load_program(folders)
    seen: list[str] = []
    verdicts = prove(program, program.promises, progress=lambda i, n, p: seen.append(f"{p.rule.id} {i} {n}"))
    assert [v.promise.rule.id for v in verdicts if v.state != PROVED] == []
    assert seen[0] == f"{program.promises[0].rule.id} 0 {len(program.promises)}"
