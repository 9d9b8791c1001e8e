"""Every scenario of the built-in packs is a test; each rule has one that fires it and one that nearly does."""

from __future__ import annotations

from functools import cache

import pytest
from command import built_in
from knockon.engine.model.rule import Scenario
from knockon.engine.render.plain import Page
from knockon.engine.render.trial import trial_text
from knockon.engine.review.coverage import RuleCover
from knockon.engine.review.scenarios import Trial, try_scenarios

WITHOUT_CONDITIONS = {"R001": "it stands on every plan, so nothing can be lacking"}


@cache
def trial() -> Trial:
    return try_scenarios(built_in())


@cache
def covered() -> dict[str, RuleCover]:
    return {r.rule.id: r for r in trial().coverage}


@pytest.mark.parametrize("scenario", built_in().scenarios, ids=lambda s: s.name)
def test_scenario(scenario: Scenario) -> None:
    verdict = next(v for v in trial().verdicts if v.scenario is scenario)
    assert verdict.passed, trial_text(Trial((verdict,), ()), built_in(), Page(100))


@pytest.mark.parametrize("rule", sorted({a.rule.id for a in built_in().alternatives}))
def test_rule_fires_in_one_scenario_and_nearly_fires_in_another(rule: str) -> None:
    cover = covered()[rule]
    assert cover.fired
    assert cover.nearly or rule in WITHOUT_CONDITIONS


def test_exceptions_are_still_exceptions() -> None:
    assert {id_ for id_, cover in covered().items() if not cover.conditions} == set(WITHOUT_CONDITIONS)


def test_scenario_names_are_sentences_of_their_own() -> None:
    names = [s.name for s in built_in().scenarios]
    assert len(names) == len(set(names))


def test_the_lowest_pack_stands_alone() -> None:
    """The scenarios of base must not need a market pack above it."""
    alone = try_scenarios(built_in(1))
    assert [v.scenario.name for v in alone.verdicts if not v.passed] == []
