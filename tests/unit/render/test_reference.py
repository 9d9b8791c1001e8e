"""Reference pages: what a rule's section says, in words a person checks a rule by. The pack is invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from knockon.engine.load.pack import load_program
from knockon.engine.render.reference import pages

HEAD = """\
pack: tiny
version: 1.2.0
date: 2026-01-31
title: a tiny pack
stacks_on: []
applies: [{fact: event, not_in: [none]}]
contents: [words.yaml, bumps_2.yaml]
"""
WORDS = """\
facts:
  event:
    {title: kind of event, ask: "What happened?", type: choice, values: {bump: a bump, none: none}, section: [intake],
     who: [estimator], assume: bump, clear: none}
  speed:
    {title: speed, ask: "How fast?", type: number, unit: km/h, section: [scan], who: [scan_tech], assume: 0,
     clear: nothing}
derived:
  d_jolt: {title: "the body *took* a jolt", per: side}
systems:
  eye: {title: front eye, does: looks ahead, area: front_assist}
parts:
  door: {title: door, sides: left_right, carries: [eye]}
phases: [{id: work, title: work}]
operations:
  look: {title: look at the door, kind: inspection, systems: [eye], per: side, phase: work}
  aim: {title: aim, kind: static calibration, systems: [eye], per: vehicle, phase: work}
sources:
  habit:
    {title: habit of the shop, kind: common_practice, reviewed: 2026-01-01, from_memory: true,
     figures: {quick: {value: 30, unit: km/h}}}
"""
RULES = """\
rules:
  - id: T001
    title: A door with the eye was worked on
    when:
      - {touched: any, carries: eye, side: $s}
      - any: [[{fact: event, is: bump}], [{fact: speed, at_least: habit.quick}, {fitted: eye}]]
    unless: [{all: [{fact: event, is: not_known}, {severity: 2}]}]
    then: [{plan: look, side: $s}, {conclude: d_jolt, side: all}, {hold: aim}, {severity: 1}]
    strength: check_whether
    why: It moves.
    note: Look the angle up.
    source: [{id: habit, at: page 3}]
    valid: {from: 2020-01-01}
    accept: [{code: KN424, reason: read by a pack above}]
scenarios:
  - {name: A door is refitted, given: {parts: [{part: door, side: left, actions: [ri]}]}, fires: [T001]}
"""
SECTION = """\
<a id="t001"></a>

## T001: A door with the eye was worked on

**When**

- a part that carries the front eye is worked on
- any of
  - kind of event is a bump
  - speed is at least 30 km/h (figure habit.quick) and front eye is fitted
- kind of event is not none (condition of the whole pack)

**Unless**

- kind of event is not known yet and severity is at least 2

**Then**

- Plan look at the door (`look`) at that place
- Conclude the body \\*took\\* a jolt (`d_jolt`) on every side
- Hold aim (`aim`)
- Severity at least 1 (light: skins and covers)

Strength: check whether it is needed. Why: It moves.

Note: Look the angle up.

Sources: habit of the shop, page 3 (from memory: read the section before quoting it)

Valid from 2020-01-01, by the date of the case.

Accepted finding KN424: read by a pack above

Fires in: A door is refitted
"""


@pytest.fixture
def made(tmp_path: Path) -> dict[str, str]:
    (tmp_path / "pack.yaml").write_text(HEAD)
    (tmp_path / "words.yaml").write_text(WORDS)
    (tmp_path / "bumps_2.yaml").write_text(RULES)
    return pages(load_program([tmp_path]))


def test_one_page_an_area_an_index_and_the_messages(made: dict[str, str]) -> None:
    assert list(made) == ["rules.md", "rules/tiny-bumps.md", "messages.md", "words.md"]


def test_a_section_says_all_of_a_rule(made: dict[str, str]) -> None:
    assert made["rules/tiny-bumps.md"].split("\n\n", 3)[3] == SECTION


def test_the_index_names_packs_and_rules(made: dict[str, str]) -> None:
    assert "- a tiny pack (`tiny` 1.2.0, 2026-01-31)" in made["rules.md"]
    row = "| [T001](rules/tiny-bumps.md#t001) | A door with the eye was worked on | check whether it is needed |"
    assert row in made["rules.md"]


def test_messages_are_grouped(made: dict[str, str]) -> None:
    text = made["messages.md"]
    assert (
        text.index("## Cases")
        < text.index("### KN301: wrong section")
        < text.index("## Findings of a pack check")
    )
