"""The pack compiler stays inside the verified part of the library's language, and refuses at the rule."""

from __future__ import annotations

import json
from itertools import count
from typing import Any

import pytest
from knockon.engine.diagnostics.message import InputError
from knockon.engine.infer.compile import FAN, MAX_CONDITIONS, MAX_RULES, PER_PARENT, compile_program, fnv
from knockon.engine.model.program import Program
from random_packs import random_program
from small_packs import damaged, derived, plan, program, rule, touched

ALLOWED = {"$and", "$ex", "$lt"}


def conditions(pack: Program) -> list[tuple[str, list[dict[str, Any]], int]]:
    """(rule, flat tests, position) of every condition that was generated."""
    rules = json.loads(compile_program(pack).text)
    found = []
    for name, body in rules.items():
        assert set(body) == {"all", "dist"}
        assert body["dist"] == 0
        assert 1 <= len(body["all"]) <= MAX_CONDITIONS
        for i, condition in enumerate(body["all"]):
            ((alias, inner),) = condition.items()
            assert set(inner) == {"$and"}
            assert alias in (f"c{i}", "m")
            found.append((name, inner["$and"], i))
    return found


@pytest.mark.parametrize("seed", range(40))
def test_only_flat_conjunctions_of_verified_tests(seed: int) -> None:
    for name, tests, position in conditions(random_program(seed, 40)):
        assert [next(iter(t)) for t in tests[:2]] == ["kb", "k"], name
        for test in tests:
            ((word, value),) = test.items()
            assert not word.startswith("$") or word in ALLOWED, (name, word)
            if isinstance(value, dict) and not word.startswith("$"):
                ((alias, _),) = value.items()
                assert int(alias[1:]) < max(position, 1), f"{name} joins forward"
        joined = [
            t for t in tests if isinstance(next(iter(t.values())), dict) and not next(iter(t)).startswith("$")
        ]
        if joined:
            assert tests[-1] == {"_": {"c0": "_"}}, f"{name} ends with a test that may be false"


@pytest.mark.parametrize("number", [20, 21, 400, 401, 1000])
def test_no_condition_has_too_many_alike_beside_it(number: int) -> None:
    pack = program(*(rule(f"R{i}", [touched("p")], plan("o")) for i in range(number)), parts={"p": ("",)})
    beside: dict[str, dict[str, int]] = {}
    for _, tests, _ in conditions(pack):
        path = ""
        for test in tests:
            word = json.dumps(test)
            beside.setdefault(path, {}).setdefault(word, 0)
            beside[path][word] += 1
            path += word
    leaves = [n for path, children in beside.items() for w, n in children.items() if path + w not in beside]
    assert max(leaves) <= FAN, "identical conditions"
    assert max(len(children) for children in beside.values()) <= FAN + 2, "different tests below one"


def refusal(pack: Program) -> list[tuple[str, str]]:
    """Code and text of what the compiler says."""
    with pytest.raises(InputError) as raised:
        compile_program(pack)
    assert all(m.culprits and m.next_step for m in raised.value.messages.errors)
    return [(m.code, m.text) for m in raised.value.messages.errors]


def test_too_many_conditions_in_one_rule() -> None:
    pack = program(
        rule("GOOD", [touched("p")] * MAX_CONDITIONS, plan("o")),
        rule("LONG", [touched("p")] * (MAX_CONDITIONS + 1), plan("o")),
        parts={"p": ("",)},
    )
    assert refusal(pack) == [
        ("KN240", f"`LONG` needs {MAX_CONDITIONS + 1} conditions; at most {MAX_CONDITIONS}")
    ]


def test_too_many_rules() -> None:
    rules = [
        rule(f"R{i}", [touched("p") if i % 2 else damaged("p")], plan("o")) for i in range(MAX_RULES + 1)
    ]
    ((code, text),) = refusal(program(*rules, parts={"p": ("",)}))
    assert (code, text.split()[0]) == ("KN240", str(MAX_RULES + 1))


def test_names_the_library_cannot_tell_apart() -> None:
    """Properties are told apart by a 32-bit hash alone; the compiler looks for twins among its own."""
    seen: dict[int, int] = {}
    for n in count():
        twin = seen.setdefault(fnv(f"t{n}"), n)
        if twin != n:
            break
    assert fnv(f"t{twin}") == fnv(f"t{n}")
    assert fnv("p2039599") == fnv("p2222382")
    assert n > FAN**3, "no pack within the limits has so many patterns"


def test_kinds_are_spread_over_buckets() -> None:
    """Every derived fact is a kind; 3000 of them still leave few below each bucket."""
    rules = [rule(f"R{i}", [derived(f"d{i}")], plan("o")) for i in range(3000)]
    buckets = compile_program(program(*rules)).buckets
    assert len(buckets) == 3000
    assert max(list(buckets.values()).count(b) for b in set(buckets.values())) < PER_PARENT / 2
