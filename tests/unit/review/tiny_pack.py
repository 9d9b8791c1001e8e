"""A tiny invented pack, which tests of the bench change by one line at a time."""

from __future__ import annotations

from pathlib import Path

HEAD = """\
pack: tiny
version: 1.0.0
date: 2026-01-31
title: a tiny pack
stacks_on: []
review_days: 1000
contents: [words.yaml, rules.yaml]
"""
WORDS = """\
facts:
  event_type:
    {title: kind of event, ask: "What happened?", type: choice, section: [intake], who: [estimator],
     values: {collision: "hit by =something", hail: hail, none: nothing}, assume: collision, clear: none}
  area:
    {title: damage area, ask: "Where?", type: set, section: [intake], who: [estimator], assume: [front],
     clear: [], values: {front: {title: front, place: front}, rear: {title: rear, place: rear}}}
  wet:
    {title: wet inside, ask: "Is it wet?", type: choice, values: {yes: wet, no: dry}, section: [intake],
     who: [estimator], assume: no, clear: no}
derived:
  d_jolt: {title: the body took a jolt, per: vehicle}
  d_calm: {title: nothing moved, per: vehicle}
systems:
  eye: {title: front <eye>, does: looks ahead, area: front_assist}
  ear: {title: roof ear, does: listens, area: body}
parts:
  nose: {title: nose, end: front, carries: [eye]}
phases: [{id: work, title: work}]
operations:
  look: {title: look, kind: inspection, systems: [eye], per: vehicle, phase: work}
  aim: {title: aim, kind: static calibration, systems: [eye], per: vehicle, phase: work, after: [look]}
  wipe: {title: wipe, kind: inspection, systems: [], per: end, phase: work}
  sign: {title: sign, kind: documentation, systems: [], per: vehicle, phase: work}
events:
  ev_jolt: {title: a new jolt, scope: vehicle}
sources:
  habit: {title: habit of the shop, kind: common_practice, reviewed: 2026-01-01}
"""
RULES = {
    "T000": "title: Always signed, when: [], then: [{plan: sign}]",
    "T001": "title: A blow jolts, when: [{fact: event_type, is: collision}], then: [{conclude: d_jolt}]",
    "T002": "title: A jolt asks for a look, when: [{derived: d_jolt}], then: [{plan: look}]",
    "T003": "title: A moved nose is aimed, when: [{touched: nose}, {derived: d_jolt}], then: [{plan: aim}]",
    "T004": "title: Wet ends are wiped, when: [{fact: wet, is: yes}, {fact: area, some: true, side: $s}],"
    " then: [{plan: wipe, side: $s}]",
    "T005": "title: No jolt is calm, when: [{fact: wet, is: yes}], unless: [{derived: d_jolt}],"
    " then: [{conclude: d_calm}]",
    "T006": "title: Calm holds aiming, when: [{derived: d_jolt}, {fact: wet, is: yes}], then: [{hold: aim}]",
    "T007": "title: Calm is looked at, when: [{derived: d_calm}], then: [{plan: look}]",
}
END = ", strength: required, why: it moves, source: [{id: habit, at: p. 1}]}"


def write_pack(folder: Path, rules: dict[str, str], words: str, scenarios: str) -> Path:
    """The pack as files."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = (f"  - {{id: {id_}, {text}{'' if 'why:' in text else END}\n" for id_, text in rules.items())
    (folder / "pack.yaml").write_text(HEAD)
    (folder / "words.yaml").write_text(words)
    (folder / "rules.yaml").write_text("rules:\n" + "".join(lines))
    if scenarios:
        (folder / "rules.scenarios.yaml").write_text("scenarios:\n" + scenarios)
    return folder
