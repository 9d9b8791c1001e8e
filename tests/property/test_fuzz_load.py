"""Whatever a file holds, reading it ends soon, in success or in messages with a place: never in a fault of ours."""

from __future__ import annotations

import copy
import json
import random
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from command import TOP, Run, read_pack_once
from fuzzed import examples
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.diagnostics.message import InputError, Messages
from knockon.engine.load import pack
from knockon.engine.load.cache import built_in_folders
from knockon.engine.load.case import load_case
from knockon.engine.load.pack import load_program
from knockon.engine.load.tree import parse_tree
from knockon.engine.measure.log_readings import check_readings
from knockon.engine.model.program import Program
from knockon.engine.plan.build import evidence_of, plan_of
from knockon.engine.render.messages import messages_text
from knockon.engine.render.plain import Page
from written_pack import HEAD, WORDS, rule

SECONDS = 5.0  # of this process; far beyond what any of these should take
FEW, SOME, MANY = (examples(n) for n in (8, 60, 250))


def value_of(text: str) -> Any:
    """The plain value of YAML text, as our own reader has it."""
    tree = parse_tree(text, "a.yaml", Messages())
    assert tree is not None
    return tree.value


CASES = [value_of(p.read_text("utf-8")) for p in sorted((TOP / "examples").glob("*/case.yaml"))]
KEYS = [
    "case",
    "date",
    "vehicle",
    "fitted",
    "intake",
    "scan",
    "lookup",
    "teardown",
    "crash",
    "parts",
    "procedures",
    "log",
    "notes",
    "part",
    "side",
    "actions",
    "damage",
    "at",
    "did",
    "event",
    "waived",
    "by",
    "why",
    "readings",
    "limits",
    "yes",
    "no",
    "codes",
    "methods",
    "vin",
    "market",
    "low",
    "high",
    "value",
    "unit",
    "count",
    "samples",
    "weights",
    "event_type",
    "area",
    "zone",
    "delta_v",
    "all_others",
    "unknown",
    "none",
    "2026-11-16",
    "ocs_check",
    "headlamp_assy",
    "radar_front",
    "front_left",
]
SCALARS = (
    st.sampled_from(
        [*KEYS, "", "~", "-1", "1e309", "2026-02-30", "9" * 40, "\x00", "\u202e", "[", "{", "*a", "&a", "!x"]
    )
    | st.text(max_size=6)
    | st.integers(-5, 10**18)
    | st.floats()
    | st.booleans()
    | st.none()
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(KEYS) | st.text(max_size=4), inner, max_size=4),
    max_leaves=10,
)  # fmt: skip


def soon(act: Callable[[], object]) -> object:
    """What it gives, or the InputError it ends in; nothing else may come out, and not late."""
    begun = time.process_time()
    try:
        found = act()
    except InputError as error:
        found = error
        assert error.messages.errors
        for message in error.messages:
            assert message.code.startswith("KN")
            assert message.text
        assert messages_text(error.messages, Page(40))
    assert time.process_time() - begun < SECONDS
    return found


def mutated(value: Any, chance: random.Random, times: int, strange: list[Any]) -> Any:
    """The value with some parts taken out, doubled, moved or replaced by something strange."""
    value = copy.deepcopy(value)
    for _ in range(times):
        inner, way = value, 0
        while isinstance(inner, dict | list) and inner and way < 8:
            key: Any = chance.choice(list(inner)) if isinstance(inner, dict) else chance.randrange(len(inner))
            if not isinstance(inner[key], dict | list) or not inner[key] or chance.random() < 0.3:
                _change(inner, key, chance, strange)
                break
            inner, way = inner[key], way + 1
    return value


def _change(inner: Any, key: Any, chance: random.Random, strange: list[Any]) -> None:
    how = chance.randrange(5)
    if how == 0:
        del inner[key]
    elif how == 1:
        inner[key] = chance.choice(strange)
    elif how == 2 and isinstance(inner, dict):
        inner[str(chance.choice(strange))[:40]] = inner.pop(key)
    elif how == 3 and isinstance(inner, list):
        inner.append(copy.deepcopy(chance.choice(inner)))
    elif isinstance(inner[key], str):
        text = inner[key]
        cut = chance.randrange(len(text) + 1)
        inner[key] = text[:cut] + chance.choice(["", "x", " ", ".", "-1", "é", text[:3]]) + text[cut + 1 :]
    else:
        inner[key] = [inner[key]]


def dumped(value: Any) -> str:
    """As a file; JSON is YAML, and quotes whatever needs it."""
    return json.dumps(value, ensure_ascii=False, default=str)


def read_case(path: Path, program: Program, text: str | bytes) -> object:
    """The whole road of a case file up to its plan."""
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"))

    def act() -> object:
        messages = Messages()
        made = load_case(path, program, messages)
        check_readings(made, program, messages)
        if messages.errors:
            raise InputError(messages)
        return plan_of(evidence_of(program, made, alone=True), with_questions=False)

    return soon(act)


@MANY
@given(st.binary(max_size=200))
def test_random_bytes(tmp_path: Path, program: Program, data: bytes) -> None:
    read_case(tmp_path / "case.yaml", program, data)


@MANY
@given(st.text(st.sampled_from("abc:-[]{}#&*!|>%@`'\"?,. \n\t\r\u2028\x85\ufeff0129~"), max_size=60))
def test_random_punctuation_of_yaml(text: str) -> None:
    messages = Messages()
    tree = soon(lambda: parse_tree(text, "a.yaml", messages))
    assert (tree is None) == bool(messages.errors)
    for message in messages:
        for culprit in message.culprits:
            assert culprit.span.line >= 1
            assert culprit.span.column >= 1


@MANY
@given(st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=5))
def test_random_structures_as_a_case(tmp_path: Path, program: Program, value: dict[str, Any]) -> None:
    read_case(tmp_path / "case.yaml", program, dumped({"case": "a", "date": "2026-11-16", **value}))


@SOME
@given(
    st.sampled_from(CASES), st.randoms(use_true_random=False), st.integers(1, 6), st.lists(VALUES, min_size=1)
)
def test_cases_with_parts_out_of_place(
    tmp_path: Path, program: Program, case: Any, chance: random.Random, times: int, strange: list[Any]
) -> None:
    read_case(tmp_path / "case.yaml", program, dumped(mutated(case, chance, times, [*strange, *KEYS])))


RULES = (
    rule(
        "T001",
        "when: [{any: [[{fitted: eye}], [{touched: any, carries: eye, side: $s}]]}]",
        "{conclude: d_jolt}",
    )
    + rule("T002", "when: [{derived: d_jolt}, {fact: area, some: true, side: $s}]", "{plan: aim, side: $s}")
    + rule("T003", "when: [{severity: 2}], unless: [{planned: aim}, {all: [{code: ear}]}]", "{severity: 3}")
    + rule(
        "T004",
        "when: [{result: look, outcome: [fail]}, {procedure: aim, verdict: [required]}]",
        "{hold: aim, side: all}",
    )
    + rule("T005", "when: [{planned: $o}, {method: eye, in: [static]}]", "{void: $o}")
)
PACK = value_of(f"{WORDS}rules:\n{RULES}")
NAMES = [
    "eye",
    "ear",
    "nose",
    "aim",
    "look",
    "d_jolt",
    "area",
    "front",
    "$s",
    "$x",
    "any",
    "all",
    "T001",
    "habit.fast",
    "*",
]


@MANY
@given(st.randoms(use_true_random=False), st.integers(1, 5), st.lists(VALUES, min_size=1))
def test_packs_with_parts_out_of_place(
    tmp_path: Path, chance: random.Random, times: int, strange: list[Any]
) -> None:
    (tmp_path / "pack.yaml").write_text(HEAD.format(name="tiny", below=""))
    text = dumped(mutated(PACK, chance, times, [*strange, *NAMES]))
    (tmp_path / "words.yaml").write_text(text, "utf-8", "replace")
    soon(lambda: load_program([tmp_path]))


@SOME
@given(VALUES, st.lists(VALUES, max_size=2))
def test_random_structures_as_a_head_and_contents(tmp_path: Path, head: Any, contents: list[Any]) -> None:
    (tmp_path / "pack.yaml").write_text(dumped(head), "utf-8", "replace")
    soon(lambda: load_program([tmp_path]))
    for section in ("facts", "rules", "operations", "scenarios", "promises", "parts", "limits"):
        (tmp_path / "pack.yaml").write_text(HEAD.format(name="tiny", below=""))
        (tmp_path / "words.yaml").write_text(dumped({section: [head, *contents]}), "utf-8", "replace")
        soon(lambda: load_program([tmp_path]))


@FEW
@given(st.randoms(use_true_random=False), st.integers(1, 4))
def test_built_in_packs_with_parts_out_of_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, chance: random.Random, times: int
) -> None:
    monkeypatch.setattr(pack, "read_pack", read_pack_once)
    base, market, *_ = built_in_folders()
    copied = tmp_path / "market"
    copied.mkdir(exist_ok=True)
    for path in market.glob("*.yaml"):
        (copied / path.name).write_bytes(path.read_bytes())
    victim = chance.choice(sorted(copied.glob("*.yaml")))
    value = value_of(victim.read_text("utf-8"))
    victim.write_text(dumped(mutated(value, chance, times, NAMES)), "utf-8")
    soon(lambda: load_program([base, copied]))


@FEW
@given(st.sampled_from(CASES), st.randoms(use_true_random=False), st.integers(1, 8))
def test_the_command_answers_any_case_with_0_1_or_2(
    tmp_path: Path, run_knockon: Run, case: Any, chance: random.Random, times: int
) -> None:
    path = tmp_path / "case.yaml"
    path.write_text(dumped(mutated(case, chance, times, list(KEYS))), "utf-8")
    ran = run_knockon("plan", str(path), "--format", "json")
    assert ran.code in (0, 1, 2)
    assert "Traceback" not in ran.err
    assert bool(ran.out) == (ran.code != 2)
