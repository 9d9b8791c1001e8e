"""A small invented pack as text, for tests of the loader: words a test can lean on, rules it writes itself."""

from __future__ import annotations

from pathlib import Path

from knockon.engine.diagnostics.message import InputError, Message, Messages
from knockon.engine.load.pack import load_program
from knockon.engine.model.program import Program

HEAD = """\
pack: {name}
version: 1.0.0
date: 2026-01-31
title: a written pack
stacks_on: [{below}]
contents: [words.yaml]
"""
WORDS = """\
facts:
  event_type: {title: kind of event, ask: "What?", type: choice, values: {collision: hit, hail: hail, none: nothing},
               section: [intake], who: [estimator], assume: collision, clear: none}
  area: {title: area, ask: "Where?", type: set, section: [intake, teardown], who: [estimator], assume: [front], clear: [],
         values: {front: {title: front, place: front}, rear: {title: rear, place: rear}, top: top}}
  lost: {title: silent units, ask: "Which?", type: set, values: systems, section: [scan], who: [scan_tech],
         assume: nothing, clear: []}
  speed: {title: speed, ask: "How fast?", type: number, unit: km/h, section: [scan], who: [scan_tech], assume: nothing,
          clear: nothing}
  built: {title: built on, ask: "When?", type: date, section: [vehicle], who: [estimator], assume: nothing,
          clear: nothing}
  towed: {title: towed, ask: "Towed?", type: choice, values: {yes: towed, no: driven}, section: [intake],
          who: [estimator], clear: no, assume: [{value: yes, when: [{fact: event_type, is: collision}]}, {value: no}]}
  parts_final: {title: list complete, ask: "Complete?", type: choice, values: {yes: complete, no: open},
                section: [teardown], who: [blueprinter], assume: no, clear: yes}
derived:
  d_jolt: {title: jolted, per: vehicle}
  d_calm: {title: calm, per: vehicle}
  d_corner: {title: a corner, per: corner}
systems:
  eye: {title: eye, does: looks, area: front_assist}
  ear: {title: ear, does: listens, area: body}
  lamp: {title: lamp, does: shines, area: body, universal: true}
zones: {f1: front, r1: rear}
parts:
  nose: {title: nose, end: front, zones: [f1], carries: [eye]}
  wing: {title: wing, end: front, sides: left_right, covers: [ear]}
  wheel: {title: wheel, end: by_wheel}
  seat: {title: seat, sides: left_right, zones: [r1], hidden: true}
phases: [{id: work, title: work}, {id: last, title: last}]
operations:
  look: {title: look, kind: inspection, systems: [eye], per: vehicle, phase: work, void_by: [ev_jolt]}
  aim: {title: aim, kind: static calibration, systems: [eye], per: corner, phase: work, after: [look]}
  sign: {title: sign, kind: documentation, systems: [], per: vehicle, phase: last}
events:
  ev_jolt: {title: a new jolt, scope: vehicle, answers: {towed: yes}}
sources:
  habit: {title: habit, kind: common_practice, reviewed: 2026-01-01, figures: {fast: {value: 16, unit: km/h}}}
impossible:
  - {title: hail does not tow, facts: [{fact: event_type, is: hail}, {fact: towed, is: yes}]}
implied:
  - {title: a towed car was hit, when: [{fact: towed, is: yes}], facts: {event_type: collision}}
"""


def rule(
    id_: str = "T001", body: str = "when: [{fact: event_type, is: collision}]", then: str = "{plan: look}"
) -> str:
    """One rule; `body` gives its conditions and whatever else."""
    return (
        f"  - {{id: {id_}, title: one sentence, {body}, then: [{then}], "
        "strength: required, why: it moves, source: [{id: habit}]}\n"
    )


def write(folder: Path, rules: str = "", words: str = WORDS, name: str = "tiny", below: str = "") -> Path:
    """A pack folder."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "pack.yaml").write_text(HEAD.format(name=name, below=below))
    (folder / "words.yaml").write_text(words + (f"rules:\n{rules}" if rules else ""))
    return folder


def load(tmp_path: Path, rules: str = "", words: str = WORDS) -> Program:
    """The program of the pack with these rules."""
    return load_program([write(tmp_path / "tiny", rules, words)])


def problems(tmp_path: Path, rules: str = "", words: str = WORDS) -> list[Message]:
    """The messages with which the pack is refused; none when it loads."""
    messages = Messages()
    try:
        load_program([write(tmp_path / "tiny", rules, words)], messages)
    except InputError as error:
        assert error.messages is messages
    return messages.items


def codes(messages: list[Message]) -> list[str]:
    """Their codes."""
    return [m.code for m in messages]
