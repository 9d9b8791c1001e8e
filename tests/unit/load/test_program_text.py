"""A program read back from its text is the program, although most of its rules are still text."""

from __future__ import annotations

import copy
import pickle
from typing import Any

import pytest
from knockon.engine.load import program_text as module
from knockon.engine.load.program_text import program_from, program_text
from knockon.engine.model.program import Program
from knockon.engine.model.record import field_names, replace
from knockon.engine.model.rule import Alternative, Rule


@pytest.fixture
def kept(program: Program) -> Program:
    """The built-in packs, read back."""
    return program_from(program_text(program))


def test_every_field_is_what_it_was(program: Program, kept: Program) -> None:
    for name in field_names(program):
        assert getattr(kept, name) == getattr(program, name), name
    for was, found in zip(program.alternatives, kept.alternatives, strict=True):
        assert found.rule is kept.rules[was.rule.id]
        assert (found.effects, found.rule.then) == (was.effects, was.rule.then)
        assert [p.span for p in found.records] == [p.span for p in was.records]
    assert program_text(kept) == program_text(program)


def test_effects_that_are_not_those_of_the_rule_stay_what_they_are(program: Program) -> None:
    first, *others = program.alternatives
    without = replace(program, alternatives=(replace(first, effects=()), *others))
    found = program_from(program_text(without))
    assert first.effects
    assert found.alternatives[0].effects == ()
    assert [a.effects for a in found.alternatives[1:]] == [a.effects for a in others]


def test_a_rule_is_read_when_it_is_asked_for_something_and_once(
    program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    read, line = list[str](), module._line

    def counted(reader: Any, text: str) -> Any:
        read.append(text)
        return line(reader, text)

    monkeypatch.setattr(module, "_line", counted)
    kept = program_from(program_text(program))
    assert [(a.id, a.records, a.unless) for a in kept.alternatives] == [
        (a.id, a.records, a.unless) for a in program.alternatives
    ]
    assert read == []
    one = kept.alternatives[0]
    assert (one.effects, one.rule.why, one.rule.id) == (
        one.rule.then,
        program.rules[one.rule.id].why,
        one.rule.id,
    )
    assert len(read) == 1


def test_a_rule_that_is_still_text_is_a_rule_like_any_other(program: Program, kept: Program) -> None:
    for made, again in ((program, program_from(program_text(program))), (kept, kept)):
        for id_, rule in list(made.rules.items())[:20]:
            assert {rule: 1}[again.rules[id_]] == 1
    for spare in (copy.copy, copy.deepcopy, lambda thing: pickle.loads(pickle.dumps(thing))):
        fresh = program_from(program_text(program))
        rule, alternative = next(iter(fresh.rules.values())), fresh.alternatives[-1]
        assert (spare(rule), type(spare(rule))) == (program.rules[rule.id], Rule)
        assert (spare(alternative), type(spare(alternative))) == (program.alternatives[-1], Alternative)
        assert replace(rule, note="n") == replace(program.rules[rule.id], note="n")
    assert repr(kept.rules) == repr(program.rules)
    assert repr(kept.alternatives) == repr(program.alternatives)
    with pytest.raises(AttributeError, match="wy"):
        kept.alternatives[0].rule.wy  # type: ignore[attr-defined]  # noqa: B018
