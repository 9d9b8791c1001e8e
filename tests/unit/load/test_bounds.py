"""A pack that could explode is refused by the name of its rule, soon, and before anything runs."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from knockon.engine.load.bounds import MAX_ALTERNATIVES_IN_ALL
from knockon.engine.load.strata import MAX_STRATA
from written_pack import WORDS, load, problems, rule

SECONDS = 20.0


def times(pattern: str, count: int) -> str:
    """The same pattern again and again, with names of its own where it has a star."""
    return ", ".join(pattern.replace("*", str(n)) for n in range(count))


BOMBS = {
    "free": (times("{touched: any, side: $s*}", 5), "could match"),
    "a shared side still multiplies": (times("{touched: any, side: $s}", 12), "could match"),
    "planned at every place": (times("{planned: any, side: $s*}", 9), "could match"),
    "too many joins": (times("{planned: look}", 13), "joins 13 records"),
    "a wide any": (f"{{any: [{times('[{severity: 2}]', 1000)}]}}", "stands for 1000 alternatives"),
    "any beside any": (times("{any: [[{severity: 2}], [{severity: 3}]]}", 40), f"{2**40} alternatives"),
    "long alternatives": (f"{{any: [{times('[' + times('{severity: 2}', 60) + ']', 60)}]}}", "3,600 conditions"),
    "any within any": ("{any: [[{any: [[{severity: 2}]]}]]}", "asks about exactly one thing"),
}  # fmt: skip


@pytest.mark.parametrize("name", BOMBS)
def test_a_rule_that_could_explode_is_refused_by_name(tmp_path: Path, name: str) -> None:
    when, said = BOMBS[name]
    begun = time.process_time()
    found = problems(tmp_path, rule("T001", f"when: [{when}]"))
    assert time.process_time() - begun < SECONDS
    assert said in found[0].text
    assert found[0].culprits[0].span.file.endswith("words.yaml")


def test_names_that_are_bound_narrow_what_can_match(tmp_path: Path) -> None:
    joined = times("{touched: $p, side: $s}", 10)
    assert problems(tmp_path, rule("T001", f"when: [{joined}]")) == []
    twice = "{touched: [nose" + ", nose" * 9000 + "]}"
    assert load(tmp_path, rule("T001", f"when: [{twice}]")).alternatives[0].records[0].subjects == ("nose",)


def test_unless_and_effects_are_bounded_too(tmp_path: Path) -> None:
    hit = "when: [{fact: event_type, is: collision}]"
    wide = rule("T001", f"{hit}, unless: [{{all: [{times('{touched: any}', 5000)}]}}]")
    assert "`T001` has 5,001 conditions" in problems(tmp_path, wide)[0].text
    assert "has 3,000 effects" in problems(tmp_path, rule("T001", hit, times("{plan: look}", 3000)))[0].text


def test_all_rules_together_are_bounded_and_the_heaviest_are_named(tmp_path: Path) -> None:
    many = "".join(
        rule(f"T{n:05}", "when: [{planned: any, side: $a}, {planned: any, side: $b}]") for n in range(900)
    )
    (found,) = problems(tmp_path, many)
    assert "all rules together" in found.text
    assert "`T00000` 36" in found.text
    assert len(found.culprits) == 3
    many = "".join(rule(f"T{n:05}") for n in range(MAX_ALTERNATIVES_IN_ALL + 10))
    (found,) = problems(tmp_path, many)
    assert f"with `T{MAX_ALTERNATIVES_IN_ALL:05}` the rules" in found.text


def chain(length: int, step: str) -> tuple[str, str]:
    """Derived facts that each rest on the one before, written the wrong way round; and the words for them."""
    names = "".join(f"  d_{n}: {{title: d, per: vehicle}}\n" for n in range(length + 1))
    rules = "".join(
        rule(f"T{n:05}", step.replace("*", str(n)), f"{{conclude: d_{n + 1}}}")
        for n in reversed(range(length))
    )
    return rules, WORDS.replace("derived:\n", f"derived:\n{names}")


def test_a_long_chain_is_sorted_soon_and_one_of_unless_is_bounded(tmp_path: Path) -> None:
    begun = time.process_time()
    assert load(tmp_path, *chain(1500, "when: [{derived: d_*}]")).strata == 1
    assert load(tmp_path, *chain(MAX_STRATA, "when: [], unless: [{derived: d_*}]")).strata == MAX_STRATA
    (found,) = problems(tmp_path, *chain(1500, "when: [], unless: [{derived: d_*}]"))
    assert f"rests on more than {MAX_STRATA} levels" in found.text
    assert time.process_time() - begun < 3 * SECONDS
